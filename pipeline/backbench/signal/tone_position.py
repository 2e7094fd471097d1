"""The lines of a tone whose place in a spectrum is known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.signal.background import backgrounds
from backbench.signal.spectrum import Spectrum
from backbench.signal.tone import ToneLines


class TonePlace(NamedTuple):
    """Where a tone lies.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    position : float
        Of the fundamental, fractional bins.
    step_v : float
        Step that the samples use, V; 0 where there is none.
    """

    spectrum: Spectrum
    position: float
    step_v: float = 0.0

    @property
    def half(self) -> float:
        """Bins on each side that belong to a line."""
        lobe, position = self.spectrum.window.half_width, self.position
        return min(lobe + 0.5 + 1e-4 * position, max(position / 2 - 0.5, lobe))


def tone_at(place: TonePlace, mains_hz: float | None) -> ToneLines:
    """The lines of a tone whose fundamental lies at a place.

    Parameters
    ----------
    place : TonePlace
        Of the fundamental.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown.

    Returns
    -------
    ToneLines

    Raises
    ------
    Refusal
        Where no bin is left between the harmonics to read the noise from.
    """
    return tones_at([place], mains_hz)[0]


def tones_at(places: Sequence[TonePlace], mains_hz: float | None) -> list[ToneLines]:
    """As tone_at, of tones in several tracks of one length.

    Parameters
    ----------
    places : sequence of TonePlace
        Of the fundamentals, in spectra of as many bins.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown.

    Returns
    -------
    list of ToneLines

    Raises
    ------
    Refusal
        As tone_at, for any of them.
    """
    halves, count = [place.half for place in places], len(places[0].spectrum.bins)
    free = [_free(own.position, half, count) for own, half in zip(places, halves, strict=True)]
    noises = backgrounds([place.spectrum.power for place in places], free, count)
    return [
        ToneLines(own.spectrum, own.position, half, noise, mains_hz, own.step_v)
        for own, half, noise in zip(places, halves, noises, strict=True)
    ]


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
