"""What came of a sweep, in the forms that its steadiness is read from."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from backbench.signal.sweep_window import Complex
from backbench.signal.track import Array

TAPER_FROM = 0.5
"""Where a band begins to fall, re its end."""
FIRST = 2.0
"""Lowest frequency that is looked at, re the lowest of the response: steep filters leave clicks
below."""


class Deconvolved(NamedTuple):
    """An output over what was played, in the forms that its steadiness is read from.

    Parameters
    ----------
    quotient : ndarray of complex128, shape (k,)
        By kept bin.
    continued : ndarray of complex128, shape (k,)
        The response by kept bin, its arrival at time 0, as it goes on beyond the sweep's band.
    impulse : ndarray of float64, shape (samples,)
        Its response in time, circular.
    peak : int
        Its greatest sample.
    arrival_s : float
        Delay of the output, s.
    spectrum : ndarray of complex128, shape (window.size // 2 + 1,)
        Of the windowed response about the peak.
    ratio : ndarray of complex128, shape (g,)
        The response on the sweep's grid.
    noise : ndarray of float64, shape (g,)
        Standard uncertainty of its magnitude.
    """

    quotient: Complex
    continued: Complex
    impulse: Array
    peak: int
    arrival_s: float
    spectrum: Complex
    ratio: Complex
    noise: Array


def upper_taper(bins: int) -> Array:
    """Flat, then a raised cosine over the upper part: an edge would ring all over the response.

    Parameters
    ----------
    bins : int
        >= 1.

    Returns
    -------
    ndarray of float64, shape (bins,)
        0 to 1.
    """
    place = np.clip((np.arange(bins) / bins - TAPER_FROM) / (1 - TAPER_FROM), 0, 1)
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * place))
