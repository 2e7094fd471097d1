"""One calibrated track of a capture."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Track:
    """Samples in volts, shape (n,), with what is known of how they were taken.

    Parameters
    ----------
    volts : ndarray of float64, shape (n,)
        V.
    rate_hz : float
        Sample rate, Hz.
    full_scale_v : float
        V peak at digital full scale.
    calibration : float
        Relative standard uncertainty of full_scale_v, >= 0.
    bits : int or None
        Word length of the file's samples, None for float or unknown.
    remark : str or None
        What was odd about the file, in words; every figure from it says so.
    """

    volts: Array
    rate_hz: float
    full_scale_v: float
    calibration: float
    bits: int | None = None
    remark: str | None = None

    @cached_property
    def lowest_and_highest(self) -> tuple[float, float]:
        """Least and greatest sample, V."""
        return float(self.volts.min()), float(self.volts.max())
