"""Student's t distribution of few values, without the fifth of a second that the large library
for it takes to load: more than half of the sentences of a comparison wait for nothing else.

The tail is half of the regularised incomplete beta function I(x; dof/2, 1/2) at
x = dof / (dof + t²), by its continued fraction (Abramowitz and Stegun 26.5.8 and 26.7.1), and from
MANY_DOF on by Hill's expansion of the normal deviate (G. W. Hill, Algorithm 395, Comm. ACM 13,
1970, 617; citation and coefficients from memory, its values held against a library by the tests).
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
MANY_DOF = 200.0
"""From so many degrees of freedom on, what the expansion leaves out is below 1e-13 of the tail,
within ten standard deviations."""
LIBRARY_FROM = 200
"""So many values at once are worth loading the library for."""
MOST_TERMS = 400
CLOSE = 1e-15
MOST_STEPS = 60


def all_below(dof: npt.ArrayLike, t: npt.ArrayLike) -> Floats:
    """As `below`, element by element of arrays that are broadcast together."""
    freedom, deviate = np.broadcast_arrays(np.asarray(dof, float), np.asarray(t, float))
    if deviate.size >= LIBRARY_FROM:
        from scipy.special import stdtr

        return np.asarray(stdtr(freedom, deviate), float)
    pairs = zip(freedom.ravel().tolist(), deviate.ravel().tolist(), strict=True)
    return np.asarray([below(*pair) for pair in pairs], float).reshape(deviate.shape)


def below(dof: float, t: float) -> float:
    """The probability of a value below t; NaN where either is NaN.

    dof: degrees of freedom, above 0.
    """
    if math.isnan(dof) or math.isnan(t):
        return math.nan
    if math.isinf(t):
        tail = 0.0
    else:
        tail = _tail_of_many(dof, t) if dof >= MANY_DOF else _tail_of_few(dof, t)
    return 1 - tail if t > 0 else tail


@lru_cache(maxsize=4096)
def quantile(dof: float, probability: float) -> float:
    """The value that the given share of the distribution lies below.

    dof: above 0. probability: above 0.5 and below 1. By Newton's method on logarithms of tail and
    value, between which the far tail is a straight line.
    """
    wanted = math.log(1 - probability)
    x = math.log(2.0)
    for _ in range(MOST_STEPS):
        t = math.exp(x)
        tail = below(dof, -t)
        step = (math.log(tail) - wanted) * tail / (t * _density(dof, t))
        x += max(-1.0, min(1.0, step))
        if abs(step) < 4 * CLOSE:
            break
    return math.exp(x)


def _tail_of_many(dof: float, t: float) -> float:
    a = dof - 0.5
    b = 48 * a * a
    y = a * math.log1p(t * t / dof)
    correction = (((-0.4 * y - 3.3) * y - 24) * y - 85.5) / (0.8 * y * y + 100 + b) + y + 3
    return 0.5 * math.erfc((correction / b + 1) * math.sqrt(y / 2))


def _tail_of_few(dof: float, t: float) -> float:
    a, square = dof / 2, t * t
    x, rest = dof / (dof + square), square / (dof + square)
    if rest == 0:
        return 0.5
    power = math.exp(a * math.log(x) + 0.5 * math.log(rest) - _log_beta(a))
    if x < (a + 1) / (a + 2.5):
        return power * _fraction(a, 0.5, x) / (2 * a)
    return 0.5 - power * _fraction(0.5, a, rest)


def _log_beta(a: float) -> float:
    """The logarithm of the complete beta function of a and 1/2."""
    return math.lgamma(a) + math.lgamma(0.5) - math.lgamma(a + 0.5)


def _fraction(a: float, b: float, x: float) -> float:
    """The continued fraction of the incomplete beta function, by Lentz's method."""
    c = 1.0
    value = d = 1 / (1 - (a + b) * x / (a + 1))
    for m in range(1, MOST_TERMS):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        d, c = 1 / (1 + even * d), 1 + even / c
        value *= d * c
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        d, c = 1 / (1 + odd * d), 1 + odd / c
        value *= d * c
        if abs(d * c - 1) < CLOSE:
            break
    return value


def _density(dof: float, t: float) -> float:
    scale = math.exp(-_log_beta(dof / 2)) / math.sqrt(dof)
    return scale * math.exp(-(dof + 1) / 2 * math.log1p(t * t / dof))
