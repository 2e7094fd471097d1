"""Mains lines: multiples of a mains frequency that is seldom quite the nominal one."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Sequence
from functools import lru_cache
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from backbench.quantities.writing import in_text
from backbench.signal.background import degrees_of_freedom
from backbench.signal.mains_places import OFF_NOMINAL, places_alone, places_of_lines
from backbench.signal.power import MeanSquare, lobe_powers
from backbench.signal.spectrum import Spectrum, peak_positions
from backbench.signal.track import Array

WANDER = 4e-4
"""Change of the mains frequency within a record, relative: common practice, no source."""
_STANDING = 12.0


def clear_of_mains(spectrum: Spectrum, nominal_hz: float | None) -> NDArray[np.bool_]:
    """Bins away from the steady part and, as far as the resolution allows, from mains lines.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    nominal_hz : float or None
        Mains frequency, Hz; None where unknown: then the steady part alone is kept away from.

    Returns
    -------
    ndarray of bool, shape (bins,)
        Read only.
    """
    step = None if nominal_hz is None else nominal_hz / spectrum.resolution_hz
    return _clear(len(spectrum.bins), spectrum.window.half_width, step)


def parted_by_mains(spectrum: Spectrum, band: slice) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Bins of a band away from the lines of every usual mains frequency, and the rest.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    band : slice
        Of its bins.

    Returns
    -------
    clear, near : ndarray of int
        Counted from the band's first bin; read only.
    """
    return _parted(
        len(spectrum.bins), spectrum.window.half_width, spectrum.resolution_hz, band.start,
        band.stop,
    )  # fmt: skip


@lru_cache(maxsize=4)
def _parted(
    count: int, lobe: int, width_hz: float, first: int, stop: int
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    each = [_clear(count, lobe, hz / width_hz)[first:stop] for hz in NOMINAL_HZ]
    clear = np.logical_and.reduce(each)
    parts = np.flatnonzero(clear), np.flatnonzero(~clear)
    for part in parts:
        part.setflags(write=False)
    return parts


@lru_cache(maxsize=4)
def _clear(count: int, lobe: int, step: float | None) -> NDArray[np.bool_]:
    """step: distance of mains lines, bins."""
    bins = np.arange(count)
    clear: NDArray[np.bool_] = bins > lobe
    if step is not None:
        reach = lobe + 0.4 * OFF_NOMINAL * bins
        apart = np.abs(bins - np.rint(bins / step) * step)
        clear &= (apart > reach) | (reach > 0.35 * step)
    clear.setflags(write=False)
    return clear


def mains_frequency(spectrum: Spectrum, noise: Array, nominal_hz: float) -> float:
    """The mains frequency that the record shows, Hz; the nominal one where no line stands out.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    noise : ndarray of float64, shape (bins,)
        Mean noise power by bin, V^2.
    nominal_hz : float
        Mains frequency as stated, Hz.

    Returns
    -------
    float
        Hz, within 2 % of the nominal one.

    Notes
    -----
    The weighted median over the first ten multiples, each weighted by what it tells of the
    frequency.
    """
    multiples, peaks, weights = [], [], []
    places = places_of_lines(nominal_hz, spectrum.resolution_hz, len(noise))
    if not len(places.first):
        return nominal_hz
    highest = places.first + spectrum.power[places.bins].argmax(axis=1)
    ratios = spectrum.power[highest] / noise[highest]
    each = zip(highest.tolist(), ratios.tolist(), strict=True)
    for multiple, (peak, ratio) in enumerate(each, 1):
        if ratio > _STANDING:
            multiples.append(multiple)
            peaks.append(peak)
            weights.append(multiple * math.sqrt(ratio))
    if not peaks:
        return nominal_hz
    estimates = peak_positions(spectrum, np.array(peaks)) * spectrum.resolution_hz / multiples
    rising = sorted(zip(estimates.tolist(), weights, strict=True))
    up_to = list(accumulate(weight for _, weight in rising))
    middle: float = rising[bisect_left(up_to, up_to[-1] / 2)][0]
    return min(max(middle, 0.98 * nominal_hz), 1.02 * nominal_hz)


def mains_lines_at(
    spectrum: Spectrum, noise: Array, frequencies_hz: Sequence[float]
) -> list[MeanSquare]:
    """Mean squares of the lines at multiples of the mains, their noise taken off, V^2.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    noise : ndarray of float64, shape (bins,)
        Mean noise power by bin, V^2.
    frequencies_hz : sequence of float
        Of the lines, Hz.

    Returns
    -------
    list of MeanSquare
        V^2, from the whole lobes, widened for a mains frequency that wanders (common practice, no
        source). What the few bins that the noise is known from leave open is in their variance.
    """
    spread, lobes, samples = spectrum.window.spread, [], []
    for hz in frequencies_hz:
        centre = hz / spectrum.resolution_hz
        half = spectrum.window.half_width + 0.5 + WANDER * centre
        lobes.append((max(math.ceil(centre - half), 0), math.floor(centre + half) + 1))
        samples.append(degrees_of_freedom(centre, spread))
    lines = lobe_powers(spectrum.power, noise, spread, math.inf, lobes)
    return [
        _with_noise_open(line, own, (stop - first) / (2 * spread))
        for line, own, (first, stop) in zip(lines, samples, lobes, strict=True)
    ]


def _with_noise_open(line: MeanSquare, samples: float, per_slope: float) -> MeanSquare:
    """A line from which noise of so many degrees of freedom was taken off.

    per_slope: that noise re the line's slope.
    """
    noise = line.slope * per_slope
    return line._replace(floor=line.floor + 2 * noise**2 / samples, samples=samples)


NOMINAL_HZ = (50.0, 60.0)
LEAST_OF_OTHER, LEAST_OF_STRONG = 3, 2
STRONG = 10.0
"""Times what makes a line stand out, from which two lines tell as much as three: common practice,
no source."""
QUIET_MULTIPLES = 2
"""With nothing playing a line at the other frequency or at twice it can hardly be anything else."""


def wrong_mains(
    spectrum: Spectrum,
    noise: Array,
    nominal_hz: float | None,
    apart: Callable[[Array], Array] | None = None,
) -> str | None:
    """Why the stated mains frequency can't be right: the record shows another one.

    Places of mains lines would be reckoned from the wrong frequency.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    noise : ndarray of float64, shape (bins,)
        Mean noise power by bin, V^2.
    nominal_hz : float or None
        Mains frequency as stated, Hz; None where unknown: then nothing is wrong.
    apart : callable, optional
        Gives the distance of positions to the nearest line that the stimulus may make, bins: lines
        on these tell nothing. None where nothing plays.

    Returns
    -------
    str or None
        With what to correct; None where it may be right.
    """
    if nominal_hz is None:
        return None
    other = _other_mains(spectrum, noise, nominal_hz, apart)
    if other is None:
        return None
    return (
        f"mains_hz is stated as {in_text(nominal_hz, '', 6)}, but the record shows lines of "
        f"{in_text(other, 'Hz', 6)} mains and none of {in_text(nominal_hz, 'Hz', 6)}; "
        "correct mains_hz in [review]"
    )


def is_confirmed(
    spectrum: Spectrum,
    noise: Array,
    nominal_hz: float,
    apart: Callable[[Array], Array] | None = None,
) -> bool:
    """Whether a record shows a line of the stated mains frequency and of no other usual one.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    noise : ndarray of float64, shape (bins,)
        Mean noise power by bin, V^2.
    nominal_hz : float
        Mains frequency as stated, Hz.
    apart : callable, optional
        As of wrong_mains; None where nothing plays.

    Returns
    -------
    bool
        True too where no other frequency is usual beside the stated one.
    """
    return all(
        _standing_alone(spectrum, noise, nominal_hz, other, apart)
        for other in other_frequencies(nominal_hz)
    )


def unconfirmed(
    spectrum: Spectrum,
    noise: Array,
    nominal_hz: float | None,
    apart: Callable[[Array], Array] | None = None,
) -> list[float]:
    """The usual mains frequencies that may be the right one instead of the stated.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    noise : ndarray of float64, shape (bins,)
        Mean noise power by bin, V^2.
    nominal_hz : float or None
        Mains frequency as stated, Hz; None where unknown.
    apart : callable, optional
        As of wrong_mains; None where nothing plays.

    Returns
    -------
    list of float
        Hz; empty where a line tells that it was the stated one, and where none was stated.
    """
    if not nominal_hz or is_confirmed(spectrum, noise, nominal_hz, apart):
        return []
    return other_frequencies(nominal_hz)


def other_frequencies(nominal_hz: float) -> list[float]:
    """The usual mains frequencies that the stated one is not.

    Parameters
    ----------
    nominal_hz : float
        Mains frequency as stated, Hz.

    Returns
    -------
    list of float
        Hz.
    """
    return [hz for hz in NOMINAL_HZ if abs(hz / nominal_hz - 1) >= 2 * OFF_NOMINAL]


def _other_mains(
    spectrum: Spectrum,
    noise: Array,
    nominal_hz: float,
    apart: Callable[[Array], Array] | None,
) -> float | None:
    """The other usual mains frequency, where the record shows that one and not the stated one.

    50 or 60, where multiples of it stand out that are none of the stated frequency, and no such
    multiple of the stated frequency does: three of them, two strong ones, or with nothing playing
    the first or the second. None otherwise.
    """
    for other in other_frequencies(nominal_hz):
        seen = _standing_alone(spectrum, noise, other, nominal_hz, apart)
        low = apart is None and any(multiple <= QUIET_MULTIPLES for multiple in seen)
        if len(seen) < LEAST_OF_OTHER and not low:
            strong = [multiple for multiple, times in seen.items() if times > STRONG]
            if len(strong) < LEAST_OF_STRONG:
                continue
        if not _standing_alone(spectrum, noise, nominal_hz, other, apart):
            return other
    return None


def _standing_alone(
    spectrum: Spectrum,
    noise: Array,
    mains_hz: float,
    other_hz: float,
    apart: Callable[[Array], Array] | None,
) -> dict[int, float]:
    """Which of the first multiples stand out, but for those of the other and of the stimulus, and
    how many times as much as it takes."""
    places = places_alone(
        spectrum.window.half_width + 1, spectrum.resolution_hz, len(noise), mains_hz, other_hz,
        apart is None,
    )  # fmt: skip
    tops, limits = spectrum.power[places.bins].max(axis=1), 2 * _STANDING * noise[places.middle]
    standing = tops > limits
    if not standing.any():
        return {}
    if apart is not None:
        standing &= apart(places.centre) >= 2 * places.reach
    each = zip(*(a[standing].tolist() for a in (places.multiple, tops, limits)), strict=True)
    return {n: top / limit if limit > 0 else math.inf for n, top, limit in each}
