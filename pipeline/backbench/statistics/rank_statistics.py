"""Statistics of ranks and of pairs, without the half second that the large library for them takes
to load; the tests hold each against it."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def mid_ranks(values: npt.ArrayLike) -> Floats:
    """Ranks of 1-D values, 1 the least; equal values share the mean of theirs."""
    _, place, count = np.unique(np.asarray(values, float), return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    return np.asarray((last - (count - 1) / 2)[place], float)


class RobustLine(NamedTuple):
    """A robust line: slope with its interval, and the intercept through the medians."""

    slope: float
    low: float
    high: float
    intercept: float


def theil_sen(x: Floats, y: Floats, confidence: float) -> RobustLine:
    """The median of the slopes of all pairs (Theil 1950), its interval by the variance of
    Kendall's score with ties (Sen 1968, equation 2.6).

    x, y: 1-D, of one length of at least two, x not constant. confidence: between 0 and 1.
    """
    one, other = np.triu_indices(x.size, 1)
    apart = x[other] - x[one]
    differ = apart != 0
    slopes = np.sort((y[other] - y[one])[differ] / apart[differ])
    n, pairs = x.size, slopes.size
    variance = (_score(np.array([n])) - _score(_ties(x)) - _score(_ties(y))) / 18
    half = NormalDist().inv_cdf((1 + confidence) / 2) * variance**0.5
    low = max(int(np.round((pairs - half) / 2)) - 1, 0)
    high = min(int(np.round((pairs + half) / 2)), pairs - 1)
    slope = float(np.median(slopes))
    intercept = float(np.median(y) - slope * np.median(x))
    return RobustLine(slope, float(slopes[low]), float(slopes[high]), intercept)


def kruskal_p_value(groups: Sequence[Floats]) -> float:
    """The p of the test of Kruskal and Wallis (1952), ties included, by chi squared.

    groups: at least two 1-D arrays, not all values equal.
    """
    from scipy.special import chdtrc

    ranks = mid_ranks(np.concatenate(groups))
    n = ranks.size
    ends = np.cumsum([group.size for group in groups])[:-1]
    sums = sum(float(part.sum()) ** 2 / part.size for part in np.split(ranks, ends))
    ties = _ties(ranks)
    tied = 1 - float((ties**3 - ties).sum()) / (n**3 - n)
    return float(chdtrc(len(groups) - 1, (12 / (n * (n + 1)) * sums - 3 * (n + 1)) / tied))


def adjusted_for_many(p: Floats) -> Floats:
    """p values adjusted so that the rate of false discoveries is held (Benjamini and Hochberg
    1995): each times their number over its place, and none above that of a greater p."""
    order = np.argsort(p)[::-1]
    places = np.arange(p.size, 0, -1)
    adjusted = np.empty(p.size)
    adjusted[order] = np.minimum(np.minimum.accumulate(p[order] * (p.size / places)), 1.0)
    return adjusted


def fourth_over_second(values: Floats) -> float:
    """Fisher's unbiased fourth cumulant over the square of the second, of at least four values."""
    n = values.size
    second, fourth = (float(((values - values.mean()) ** power).sum()) for power in (2, 4))
    of_four = n * (n + 1) * fourth - 3 * (n - 1) * second**2
    return of_four / ((n - 1) * (n - 2) * (n - 3)) / (second / (n - 1)) ** 2


def _ties(values: Floats) -> Floats:
    """How many share each value."""
    return np.asarray(np.unique(values, return_counts=True)[1], float)


def _score(count: npt.ArrayLike) -> float:
    """What so many values, or so many that are tied, add to 18 variances of Kendall's score."""
    k = np.asarray(count, float)
    return float((k * (k - 1) * (2 * k + 5)).sum())
