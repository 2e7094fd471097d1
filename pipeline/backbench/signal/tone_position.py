"""The lines of a tone whose place in a spectrum is known."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.signal.background import background
from backbench.signal.spectrum import Spectrum
from backbench.signal.tone import ToneLines


def tone_at(
    spectrum: Spectrum, position: float, mains_hz: float | None, step_v: float = 0.0
) -> ToneLines:
    """The lines of a tone whose fundamental lies at `position` (fractional bins).

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    position : float
        Of the fundamental, fractional bins.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown.
    step_v : float, optional
        Step that the samples use, V; 0 where there is none.

    Returns
    -------
    ToneLines

    Raises
    ------
    Refusal
        Where no bin is left between the harmonics to read the noise from.
    """
    lobe = spectrum.window.half_width
    half = min(lobe + 0.5 + 1e-4 * position, max(position / 2 - 0.5, lobe))
    count = len(spectrum.bins)
    noise = background(spectrum.power, _free(position, half, count), count)
    return ToneLines(spectrum, position, half, noise, mains_hz, step_v)


def _free(position: float, half: float, count: int) -> NDArray[np.bool_]:
    clear = clear_of_harmonics(position, half, count)
    if not clear.any():
        raise Refusal("too short: no noise can be told apart between the tone's harmonics")
    return clear


@lru_cache(maxsize=4)
def clear_of_harmonics(position: float, half: float, count: int) -> NDArray[np.bool_]:
    """Bins further than `half` from the steady part and from every multiple of the tone.

    Parameters
    ----------
    position : float
        Of the fundamental, fractional bins.
    half : float
        Bins on each side that belong to a line.
    count : int
        Bins that are wanted, from bin 0.

    Returns
    -------
    ndarray of bool, shape (count,)
        Read only; kept, as several ask for it.
    """
    clear = np.ones(count, dtype=bool)
    clear[bins_of_harmonics(position, half, count)] = False
    clear.setflags(write=False)
    return clear


@lru_cache(maxsize=4)
def bins_of_harmonics(position: float, half: float, count: int) -> NDArray[np.int_]:
    """Bins that belong to the steady part or to a multiple of the tone.

    Parameters
    ----------
    position : float
        Of the fundamental, fractional bins.
    half : float
        Bins on each side that belong to a line.
    count : int
        Bins that there are.

    Returns
    -------
    ndarray of int, shape (m,)
        Rising; read only and kept, as several ask for them.
    """
    lines = np.arange(0, count + half, position)
    taken = np.add.outer(np.ceil(lines - half).astype(int), np.arange(math.floor(2 * half) + 1))
    bins: NDArray[np.int_] = taken[
        (taken >= 0) & (taken < count) & (taken <= (lines + half)[:, None])
    ]
    if position <= 2 * half:
        bins = np.unique(bins)
    bins.setflags(write=False)
    return bins
