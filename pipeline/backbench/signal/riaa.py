"""Replay equalisation of discs: the RIAA curve, with and without the amendment of 1976."""

from __future__ import annotations

import numpy as np

from backbench.signal.track import Array

TIME_CONSTANTS_S = (3180e-6, 318e-6, 75e-6)
AMENDMENT_S = 7950e-6
REFERENCE_HZ = 1000.0


def riaa_db(hz: Array, *, amended: bool) -> Array:
    """Replay gain re 1 kHz at frequencies above 0.

    Parameters
    ----------
    hz : ndarray of float64, any shape
        Hz, > 0.
    amended : bool
        Whether with the amendment of 1976, for replay only.

    Returns
    -------
    ndarray of float64, shape of hz
        dB.

    Notes
    -----
    H = (1 + s 318 us) / ((1 + s 3180 us) (1 + s 75 us)); amended: times
    s 7950 us / (1 + s 7950 us).

    References
    ----------
    IEC 60098 (time constants from public pages that agree; the amendment second-hand).
    """
    level: Array = _level(np.asarray(hz, dtype=np.float64), amended)
    return np.asarray(level - _level(np.array(REFERENCE_HZ), amended))


def _level(hz: Array, amended: bool) -> Array:
    t1, t2, t3 = TIME_CONSTANTS_S
    square = np.square(2 * np.pi * hz)
    power = (1 + square * t2**2) / ((1 + square * t1**2) * (1 + square * t3**2))
    if amended:
        power = power * square * AMENDMENT_S**2 / (1 + square * AMENDMENT_S**2)
    return np.asarray(10 * np.log10(power))
