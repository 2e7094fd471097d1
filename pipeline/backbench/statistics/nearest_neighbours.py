"""The units most like one unit, over everything that they share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
ROUNDING = 1e-9
"""Relative: far more than sums in another order differ by."""
LEAST_SHARED = 3
NORMAL = 1.4826
"""Median absolute deviation to standard deviation, for a normal distribution."""


@dataclass(frozen=True)
class NearPoint:
    """A unit, how far it is (mean robust deviations), over how many metrics, and why.

    alike, apart: indices of the columns that they agree and differ most in.
    """

    index: int
    distance: float
    shared: int
    alike: tuple[int, ...]
    apart: tuple[int, ...]


def robust_scale(columns: Floats) -> Floats:
    """Columns less their median, over 1.4826 times their median absolute deviation.

    NaN stands for no value. A column without spread tells units not apart: NaN throughout.
    """
    scaled = np.full(columns.shape, np.nan)
    for j in range(columns.shape[1]):
        column = columns[:, j]
        known = column[np.isfinite(column)]
        if known.size < LEAST_SHARED:
            continue
        middle = np.median(known)
        spread = NORMAL * np.median(np.abs(known - middle))
        if spread > 0:
            scaled[:, j] = (column - middle) / spread
    return scaled


def nearest(columns: Any, index: int, count: int = 3) -> list[NearPoint]:
    """The nearest rows to one row: mean absolute difference on robust scales over shared columns.

    columns: shape (units, metrics), NaN where a unit has no value. Rows that share fewer than
    three columns, or less than half of the row's own, are left out. Ties go by position.
    """
    scaled = robust_scale(np.asarray(columns, float))
    apart = np.abs(scaled - scaled[index])
    neighbours = [_near_point(int(row), apart[row]) for row in _candidates(apart, index, count)]
    return sorted(neighbours, key=lambda near: (near.distance, near.index))[:count]


def _candidates(apart: Any, index: int, count: int) -> npt.NDArray[np.int64]:
    """Rows among which the nearest are: all rows at once, to rounding of their distance."""
    known = np.isfinite(apart)
    shared = known.sum(axis=1)
    enough = shared >= max(LEAST_SHARED, shared[index] / 2)
    enough[index] = False
    rows = np.flatnonzero(enough)
    distance = np.where(known, apart, 0.0)[rows].sum(axis=1) / shared[rows]
    if rows.size <= count:
        return rows
    last = np.partition(distance, count - 1)[count - 1]
    return np.asarray(rows[distance <= last * (1 + ROUNDING)])


def _near_point(row: int, apart: Any) -> NearPoint:
    shared = np.flatnonzero(np.isfinite(apart))
    order = shared[np.argsort(apart[shared], kind="stable")]
    return NearPoint(
        row, float(apart[shared].mean()), int(shared.size),
        tuple(map(int, order[:2])), tuple(map(int, order[::-1][:2])),
    )  # fmt: skip


def logarithmic(units: Sequence[str]) -> npt.NDArray[np.bool_]:
    """Which columns are ratios by nature and compared by their logarithm: all but decibels."""
    return np.asarray([unit not in ("dB", "") for unit in units], bool)
