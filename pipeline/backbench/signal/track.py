"""One calibrated track of a capture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backbench.signal.kept_property import kept_property

Array = NDArray[np.float64]

STRETCH = 1024
"""Samples whose extremes are kept together."""
FEW = 0.25
"""Share of all stretches up to which samples are sought in these alone."""


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

    @kept_property
    def lowest_and_highest(self) -> tuple[float, float]:
        """Least and greatest sample, V."""
        return float(self._extremes[0].min()), float(self._extremes[1].max())

    @kept_property
    def _extremes(self) -> tuple[Array, Array]:
        """Least and greatest sample of each stretch of STRETCH, V."""
        starts = np.arange(0, len(self.volts), STRETCH)
        return np.minimum.reduceat(self.volts, starts), np.maximum.reduceat(self.volts, starts)

    def beyond(self, end: float, *, above: bool) -> Array:
        """Samples at or beyond a voltage; stretches that don't reach it aren't looked at.

        Parameters
        ----------
        end : float
            V.
        above : bool
            Whether those at or above it are meant, or those at or below.

        Returns
        -------
        ndarray of float64, shape (k,)
            V, in their order.
        """
        lows, highs = self._extremes
        reaching = np.flatnonzero(highs >= end if above else lows <= end)
        some = self.volts
        if len(reaching) < FEW * len(lows):
            starts = (STRETCH * reaching).tolist()
            some = np.concatenate([some[:0], *(some[n : n + STRETCH] for n in starts)])
        return some[some >= end if above else some <= end]
