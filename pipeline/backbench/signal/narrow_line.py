"""A line that may be weak, in a narrow band about its frequency, less the noise beside it."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from backbench.signal.rumble import band, weighted_noise
from backbench.signal.track import Array
from backbench.signal.uncertainty import ONE_SIDED

STANDS_OUT = 2.0


class NarrowLine(NamedTuple):
    """A line in a narrow band.

    Parameters
    ----------
    rms, u : float
        V; rms is the most that it may be where it doesn't stand out.
    dof : float
        Degrees of freedom of u.
    stands_out : bool
        False where noise may have made it.
    """

    rms: float
    u: float
    dof: float
    stands_out: bool


def narrow_line(volts: Array, rate_hz: float, hz: float, within: float) -> NarrowLine:
    """Rms within a relative distance of a frequency, less that of bands as wide on both sides.

    Parameters
    ----------
    volts : ndarray of float64, shape (n,)
        V; at least 5 s.
    rate_hz : float
        Sample rate, Hz.
    hz : float
        Frequency, Hz.
    within : float
        Half-width of the band, relative.

    Returns
    -------
    NarrowLine
        V.
    """
    own, *beside = (
        weighted_noise(volts, rate_hz, band(middle * (1 - within), middle * (1 + within)))
        for middle in (hz, hz / (1 + 3 * within), hz * (1 + 3 * within))
    )
    noise = np.array([part.rms**2 for part in beside])
    left = own.rms**2 - float(noise.mean())
    u = math.sqrt((2 * own.rms * own.u) ** 2 + float(noise.std(ddof=1)) ** 2 / 2)
    if left <= STANDS_OUT * u:
        return NarrowLine(math.sqrt(max(left, 0.0) + ONE_SIDED * u), 0.0, math.inf, False)
    rms = math.sqrt(left)
    return NarrowLine(rms, u / (2 * rms), own.dof, True)
