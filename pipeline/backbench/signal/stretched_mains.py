"""Mains lines at places that tell of the sample rate: of the stated one or of another."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from backbench.quantities.writing import in_text
from backbench.signal.mains import NOMINAL_HZ
from backbench.signal.mains_places import LINES, OFF_NOMINAL, all_bins
from backbench.signal.sample_rates import other_rates
from backbench.signal.spectrum import Spectrum
from backbench.signal.track import Array

H = TypeVar("H", float, NDArray[np.floating])

LOWEST = 2
"""The mains itself or twice it is among the lines of any hum: common practice, no source."""
LEAST_LINES = 2
STANDS_OUT = 24.0
"""Times the noise, which noise alone reaches in a bin once in 2e10."""
NEARLY_WHOLE = 0.01
RISES = 2.0
"""Times the power of the line before it, from which a line doesn't belong to lines that only fall:
common practice, no source."""


def stretched_mains(spectrum: Spectrum, noise: Array, nominal_hz: float | None) -> str | None:
    """That lines stand where those of the mains would under another usual sample rate.

    Parameters
    ----------
    spectrum : Spectrum
        Of a record with nothing playing.
    noise : ndarray of float64, shape (bins,)
        Mean noise power by bin, V^2.
    nominal_hz : float or None
        Mains frequency as stated, Hz; None where unknown: then nothing is told.

    Returns
    -------
    str or None
        With what to check; None where the record shows lines of the mains as stated, or too few
        that would be of another rate.

    Notes
    -----
    Half the stated rate isn't told: every line then lies where a multiple of the mains may be.
    """
    if nominal_hz is None:
        return None
    in_place = bool(_lines(spectrum, noise, nominal_hz))
    for rate in _nearest_first(spectrum.rate_hz):
        stretch = spectrum.rate_hz / rate
        # Of twice the stated rate every second line lies where the stated mains has one.
        if in_place and abs(1 / stretch - round(1 / stretch)) > NEARLY_WHOLE:
            continue
        lines = _unusual(spectrum, noise, stretch * nominal_hz)
        if len(lines) >= LEAST_LINES and lines[0] <= LOWEST:
            return (
                f"lines at multiples of {in_text(stretch * nominal_hz, 'Hz', 3)} are those of "
                f"{in_text(nominal_hz, 'Hz', 6)} mains if the sample rate was "
                f"{in_text(rate, 'Hz', 6)}, not {in_text(spectrum.rate_hz, 'Hz', 6)} as the file "
                "says: check the recorder's rate and the file's header"
            )
    return None


def possible_rates(spectrum: Spectrum, noise: Array) -> list[int]:
    """The usual sample rates, other than the stated one, that the lines of a hum leave possible.

    Parameters
    ----------
    spectrum : Spectrum
        Of a record with nothing playing.
    noise : ndarray of float64, shape (bins,)
        Mean noise power by bin, V^2.

    Returns
    -------
    list of int
        Hz; all where no line stands at a place of a usual mains frequency. Empty where the lines
        show that the rate was as stated.

    Notes
    -----
    At twice the real rate all lines lie at even multiples. At half of it the lines of a rectifier,
    of even multiples alone, lie at every multiple; but they fall from one to the next (common
    practice, no source).
    """
    lines = max((_lines(spectrum, noise, hz) for hz in NOMINAL_HZ), key=len)
    return [
        rate
        for rate in other_rates(spectrum.rate_hz)
        if _is_possible(lines, spectrum.rate_hz / rate)
    ]


def _is_possible(lines: dict[int, float], stretch: float) -> bool:
    """Whether lines at these multiples may be others', were the rate so many times less."""
    multiples = (n / stretch for n in lines)
    fits = all(abs(multiple - round(multiple)) <= NEARLY_WHOLE for multiple in multiples)
    return fits and (stretch > 1 or not _rises(lines))


def _rises(lines: dict[int, float]) -> bool:
    """Whether a line is stronger than the one before it, or that one isn't seen."""
    return any(
        power > RISES * lines.get(multiple - 1, 0.0 if multiple > LOWEST else math.inf)
        for multiple, power in lines.items()
    )


def _nearest_first(rate_hz: float) -> list[int]:
    """Other usual rates: the lines of ripple at one are all those of a field at another."""
    return sorted(other_rates(rate_hz), key=lambda rate: abs(math.log(rate / rate_hz)))


def _unusual(spectrum: Spectrum, noise: Array, hz: float) -> list[int]:
    """Which multiples of a frequency have a line, but for those where usual mains may have one."""
    return [
        multiple
        for multiple in _lines(spectrum, noise, hz)
        if not _is_usual(multiple * hz, 2 * _reach_hz(spectrum.resolution_hz, multiple * hz))
    ]


def _lines(spectrum: Spectrum, noise: Array, hz: float) -> dict[int, float]:
    """The first multiples of a frequency that have a line at their very place; its power, V^2."""
    width_hz, lobe = spectrum.resolution_hz, spectrum.window.half_width
    places = _places_of(hz, width_hz, lobe, len(noise))
    if not len(places.first):
        return {}
    power = spectrum.power
    peaks = places.first + power[places.bins].argmax(axis=1)
    here = power[peaks]
    standing = here > STANDS_OUT * noise[peaks]
    standing &= (here >= power[peaks - 1]) & (here >= power[peaks + 1])
    found = np.flatnonzero(standing)
    return dict(zip(places.multiple[found].tolist(), here[found].tolist(), strict=True))


class _PlacesOf(NamedTuple):
    """Which multiples of a frequency are looked for, the first bin of each and all of its bins."""

    multiple: NDArray[np.intp]
    first: NDArray[np.intp]
    bins: NDArray[np.intp]


@lru_cache(maxsize=32)
def _places_of(hz: float, width_hz: float, lobe: int, count: int) -> _PlacesOf:
    """lobe: half of one, bins. count: bins that there are. Kept, as records of one length have the
    same."""
    multiple = np.arange(1, LINES + 1)
    centre, reach = multiple * hz / width_hz, _reach_hz(width_hz, multiple * hz) / width_hz
    first, last = np.ceil(centre - reach), np.floor(centre + reach)
    held = (first > lobe) & (last + 2 <= count)
    first, bins = first[held], all_bins(first[held], last[held] + 1)
    return _PlacesOf(multiple[held], first.astype(np.intp), bins)


def _reach_hz(width_hz: float, hz: H) -> H:
    """How far on each side a line of the mains may lie. width_hz: of a bin."""
    return OFF_NOMINAL / 4 * hz + width_hz


def _is_usual(hz: float, reach_hz: float) -> bool:
    """Whether a line there may be one of a usual mains frequency."""
    return any(abs(hz - own * round(hz / own)) <= reach_hz for own in NOMINAL_HZ)
