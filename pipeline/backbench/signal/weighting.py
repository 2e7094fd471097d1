"""Frequency weightings A and C (IEC 61672-1:2013, Annex E), from their analogue formulas."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from backbench.signal.track import Array

_REFERENCE, _LOW, _HIGH, _A = 1000.0, 10**1.5, 10**3.9, 10**2.45
"""Reference frequency, cut-offs f_L and f_H of the C curve and f_A of the A curve, Hz."""


def _poles() -> tuple[float, float, float, float]:
    """f1 to f4 in Hz, by the equations of Annex E (as remembered; they give its table)."""
    d = np.sqrt(0.5)
    r2, l2, h2 = _REFERENCE**2, _LOW**2, _HIGH**2
    b = (r2 + l2 * h2 / r2 - d * (l2 + h2)) / (1 - d)
    root = np.sqrt(b**2 - 4 * l2 * h2)
    f1, f4 = np.sqrt((-b - root) / 2), np.sqrt((-b + root) / 2)
    f2, f3 = (3 - np.sqrt(5)) / 2 * _A, (3 + np.sqrt(5)) / 2 * _A
    return float(f1), float(f2), float(f3), float(f4)


F1, F2, F3, F4 = _poles()


def _c(f: Array) -> Array:
    gain: Array = F4**2 * f**2 / ((f**2 + F1**2) * (f**2 + F4**2))
    return gain


def _a(f: Array) -> Array:
    gain: Array = _c(f) * f**2 / np.sqrt((f**2 + F2**2) * (f**2 + F3**2))
    return gain


_ONE_KHZ = np.array([_REFERENCE])


def c_weighting(frequency_hz: Array) -> Array:
    """Amplitude factor of C weighting, 1 at 1 kHz.

    Parameters
    ----------
    frequency_hz : ndarray of float64, shape (n,)
        Hz, >= 0.

    Returns
    -------
    ndarray of float64, shape (n,)
        Ratio of amplitudes.

    References
    ----------
    IEC 61672-1:2013, Annex E (equations as remembered; they give its table).
    """
    factor: Array = _c(frequency_hz) / _c(_ONE_KHZ)[0]
    return factor


def a_weighting(frequency_hz: Array) -> Array:
    """Amplitude factor of A weighting, 1 at 1 kHz.

    Parameters
    ----------
    frequency_hz : ndarray of float64, shape (n,)
        Hz, >= 0.

    Returns
    -------
    ndarray of float64, shape (n,)
        Ratio of amplitudes.

    References
    ----------
    IEC 61672-1:2013, Annex E (equations as remembered; they give its table).
    """
    factor: Array = _a(frequency_hz) / _a(_ONE_KHZ)[0]
    return factor


@lru_cache(maxsize=4)
def a_weighting_power(first: int, count: int, resolution_hz: float, second_moment: float) -> Array:
    """Power factor of A weighting for a range of a spectrum's bins; see power_weights.

    Parameters
    ----------
    first : int
        First bin, > 0.
    count : int
        Number of bins.
    resolution_hz : float
        Width of a bin, Hz.
    second_moment : float
        Of the window's lobe, bins^2 (see Window).

    Returns
    -------
    ndarray of float64, shape (count,)
        Ratio of powers. Read only.
    """
    return power_weights(a_weighting, first, count, resolution_hz, second_moment)


def power_weights(
    weighting: Callable[[Array], Array],
    first: int,
    count: int,
    resolution_hz: float,
    second_moment: float,
) -> Array:
    """Power factor of a weighting for a range of a spectrum's bins.

    Parameters
    ----------
    weighting : callable
        Amplitude factor at frequencies in Hz.
    first : int
        First bin, > 0.
    count : int
        Number of bins.
    resolution_hz : float
        Width of a bin, Hz.
    second_moment : float
        Of the window's lobe, bins^2 (see Window).

    Returns
    -------
    ndarray of float64, shape (count,)
        Ratio of powers. Read only.

    Notes
    -----
    The lobe spreads a line over bins that are weighted differently; half the moment times the
    curve's second difference takes off what that adds (1 % of the power of a 50 Hz line in a
    record of 1 s).
    """
    frequency_hz: Array = (first - 1 + np.arange(count + 2, dtype=np.float64)) * resolution_hz
    plain = weighting(frequency_hz) ** 2
    bend = plain[2:] - 2 * plain[1:-1] + plain[:-2]
    factors: Array = plain[1:-1] - second_moment / 2 * bend
    factors.setflags(write=False)
    return factors
