"""Mains lines that may hide under the harmonics of a tone.

A multiple of the mains frequency within the resolution can't be told from a harmonic. The multiples
around it, which stand clear of the tone, tell how strong such lines are there. Rectifiers make
every second multiple, so that only one an even number of multiples away says anything of it. Where
none stands clear, nothing is known of it but what the record shows at the harmonic itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import accumulate, pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.signal.mains_neighbours import OFF_NOMINAL, Around, strongest_around
from backbench.signal.nearest_lines import apart_from, fenced
from backbench.signal.spectrum import Spectrum
from backbench.signal.track import Array

SIDEBANDS = (1, 2)
"""Multiples of the mains at which a modulated tone has sidebands that are reckoned with."""
MIRRORED_CLEAR = 1.5
"""Bins by which a mirrored sideband may lie within the reach of a line and be 90 dB down there."""
MARGIN = 2.0
"""The line that is hidden may have this many times the power of the strongest one beside it:
common practice, no source."""
FIRST_LINE = 10.0
"""The same of a line under a tone, re what stands at multiples beside it: the first line of a stray
field is mostly the strongest by far. Common practice, no source."""
MOST_MULTIPLE = 10
"""Multiples of the mains above which the lines around a tone tell of those beneath it, and it has
few harmonics among them."""
UNSEEN_FACTOR = 3.5
"""Hidden power, re what the record shows at a harmonic, where nothing clear of the tone tells more.

The bound on a line that doesn't stand out is then 7.8 times what is seen, in amplitude. A harmonic
and a line of unknown phase leave less than 1 / 7.8 of the harmonic at most once in 25, where they
are just alike (2 / pi asin(1 / (2 * 7.8))), and once in 100 or less where nothing is known of their
ratio but that it may be anything within 7 dB or more (area of a circle: (1 / 7.8)^2 / 2 re the
natural logarithm of that range).
"""


class HiddenHum(NamedTuple):
    """What may hide in each harmonic.

    Parameters
    ----------
    square : ndarray of float64, shape (k,)
        Mean square of a mains line that may hide in it, V^2.
    blind : ndarray of bool, shape (k,)
        Whether a mains line or a sideband may be there and nothing shows how strong.
    """

    square: Array
    blind: NDArray[np.bool_]

    def reckoned(self, seen: Array) -> tuple[Array, NDArray[np.bool_]]:
        """What may hide in lines of which the record shows so much, and where nothing tells it.

        Parameters
        ----------
        seen : ndarray of float64, shape (k,)
            Mean square of each line, V^2.

        Returns
        -------
        square : ndarray of float64, shape (k,)
            V^2.
        blind : ndarray of bool, shape (k,)
        """
        return np.where(self.blind, UNSEEN_FACTOR * np.maximum(seen, 0.0), self.square), self.blind

    def first(self) -> HiddenHum:
        """That of the first line alone.

        Returns
        -------
        HiddenHum
        """
        return HiddenHum(self.square[:1], self.blind[:1])

    def but_first(self) -> HiddenHum:
        """That of all lines after the first.

        Returns
        -------
        HiddenHum
        """
        return HiddenHum(self.square[1:], self.blind[1:])


class UnderHarmonics(NamedTuple):
    """Harmonics of a tone under which mains lines are sought.

    Parameters
    ----------
    spectrum : Spectrum
        Of the tone.
    noise : ndarray of float64, shape (bins,)
        Mean noise power by bin, V^2.
    position : float
        Of the fundamental, fractional bins.
    half : float
        Bins on each side that a line takes.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown: then nothing is known to hide.
    orders : ndarray of int, shape (n,)
        Harmonic numbers.
    others : sequence of float
        Frequencies, Hz, that the mains may have had instead: what their lines show counts, too.
    """

    spectrum: Spectrum
    noise: Array
    position: float
    half: float
    mains_hz: float | None
    orders: NDArray[np.int_]
    others: Sequence[float]

    @property
    def places(self) -> Array:
        """Of the harmonics, fractional bins, shape (n,)."""
        return np.asarray(self.orders * self.position, dtype=np.float64)

    def apart(self, centres: Array) -> Array:
        """Distance of places to the nearest harmonic.

        Parameters
        ----------
        centres : ndarray of float64, shape (...)
            Bins.

        Returns
        -------
        ndarray of float64, shape (...)
            Bins.
        """
        away: Array = np.abs(centres - np.rint(centres / self.position) * self.position)
        return away

    def lines(self) -> UnderLines:
        """The same as lines at any places: for each mains frequency in turn.

        Returns
        -------
        UnderLines
        """
        steps = np.array([self.mains_hz, *self.others]) / self.spectrum.resolution_hz
        count, many = len(self.orders), len(steps)
        centres = self.places
        # Of the other frequencies no more counts than what stands there.
        aside = np.zeros(many * count, dtype=bool)
        beside = on_sideband(centres, np.array([self.position]), steps[0], self.half)
        aside[:count] = beside & (self.orders > 1)
        return UnderLines(
            self.spectrum, self.noise, np.tile(centres, many), half=self.half,
            steps=np.repeat(steps, count), apart=self.apart, aside=aside,
        )  # fmt: skip


class UnderLines(NamedTuple):
    """Lines of a record, at any places, under which mains lines are sought.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    noise : ndarray of float64, shape (bins,)
        Mean noise power by bin, V^2.
    centres : ndarray of float64, shape (n,)
        Of the lines, fractional bins.
    half : float
        Bins on each side that a line takes.
    steps : ndarray of float64, shape (n,)
        Mains frequency for each line, bins, > 0.
    apart : callable
        Gives the distance of positions, bins, to the nearest line that the stimulus may make.
    aside : ndarray of bool, shape (n,)
        Whether a sideband at a multiple of the mains may lie under a line.
    """

    spectrum: Spectrum
    noise: Array
    centres: Array
    half: float
    steps: Array
    apart: Callable[[Array], Array]
    aside: NDArray[np.bool_]


def hidden_hum(each: Sequence[UnderHarmonics]) -> list[HiddenHum]:
    """What the mains may hide under harmonics of tones.

    Parameters
    ----------
    each : sequence of UnderHarmonics
        Of spectra of as many bins, with one window: several in less time than one by one.

    Returns
    -------
    list of HiddenHum
        Arrays of shape (n,) each.
    """
    sought = [one.lines() for one in each if one.mains_hz and len(one.orders)]
    found = iter(hidden_among(sought) if sought else [])
    hidden = []
    for one in each:
        count, none = len(one.orders), np.zeros(len(one.orders), dtype=bool)
        square, blind = next(found) if one.mains_hz and count else (np.zeros(count), none)
        if count:
            square = square.reshape(-1, count).max(axis=0)
        hidden.append(HiddenHum(square, blind[:count]))
    return hidden


def hidden_among(each: Sequence[UnderLines]) -> list[HiddenHum]:
    """What the mains may hide under lines at any places.

    Parameters
    ----------
    each : sequence of UnderLines
        Of spectra of as many bins, with one window; one at least.

    Returns
    -------
    list of HiddenHum
        Arrays of shape (n,) each.
    """
    ends = list(accumulate([len(one.centres) for one in each], initial=0))
    rows = [slice(*pair) for pair in pairwise(ends)]
    centres = np.concatenate([one.centres for one in each])
    steps = np.concatenate([one.steps for one in each])
    half = np.repeat([one.half for one in each], np.diff(ends))
    nearest = np.maximum(np.rint(centres / steps), 1)
    reach = np.minimum(half + OFF_NOMINAL * centres, steps / 2)
    near = np.abs(centres - nearest * steps) <= reach
    near &= centres < len(each[0].noise) - 1
    square, blind = np.zeros(len(centres)), np.concatenate([one.aside for one in each])
    if near.any():
        around = [
            Around(one.spectrum, one.noise, nearest[own][near[own]], steps[own][near[own]],
                   one.apart, one.half)
            for one, own in zip(each, rows, strict=True)
        ]  # fmt: skip
        strongest, known = strongest_around(around)
        square[near] = np.where(known, MARGIN * strongest, 0.0)
        blind[near] |= ~known
    return [HiddenHum(square[own], blind[own]) for own in rows]


def hidden_under_tones(
    spectrum: Spectrum, noise: Array, tones: Array, half: float, mains_hz: float | None
) -> Array:
    """The most that mains lines and sidebands in the lobes of tones may have.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    noise : ndarray of float64, shape (bins,)
        Mean noise power by bin, V^2.
    tones : ndarray of float64, shape (k,)
        Of all that is played, fractional bins, rising.
    half : float
        Bins on each side that a line takes.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown: then nothing is known to hide.

    Returns
    -------
    ndarray of float64, shape (k,)
        Mean square, V^2; 0 where no multiple of the mains lies within a tone's lobe.

    Notes
    -----
    The multiples around a tone that are clear of what is played tell, and what stands there may be
    a harmonic as well: of a low tone no multiple may be clear of its harmonics. A sideband below
    0 Hz, which shows at its positive frequency, comes to lie there with the mains.
    """
    if not mains_hz:
        return np.zeros(len(tones))
    step = mains_hz / spectrum.resolution_hz
    nearest = np.maximum(np.rint(tones / step), 1)
    reach = np.minimum(half + OFF_NOMINAL * tones, step / 2)
    near = (np.abs(tones - nearest * step) <= reach) & (nearest <= MOST_MULTIPLE)
    if not near.any():
        return np.zeros(len(tones))

    def apart(centres: Array) -> Array:
        return apart_from(centres, fence)

    fence = fenced(tones)
    square = np.zeros(len(tones))
    steps = np.full(np.count_nonzero(near), step)
    around = Around(spectrum, noise, nearest[near], steps, apart, half)
    square[near] = strongest_around([around])[0]
    return FIRST_LINE * square


def mirrored_in_lobe(
    spectrum: Spectrum, position: float, half: float, mains_hz: float | None
) -> bool:
    """Whether a sideband of a low tone, below 0 Hz, shows in the lobe of the tone itself.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    position : float
        Of the tone, fractional bins.
    half : float
        Bins on each side that a line takes.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown.

    Returns
    -------
    bool
        False where the mains frequency is unknown.
    """
    step = (mains_hz or 0.0) / spectrum.resolution_hz
    reach = half + OFF_NOMINAL * position
    return step > 0 and any(abs(n * step - 2 * position) <= reach for n in SIDEBANDS)


def on_sideband(centres: Array, tones: Array, step: float, half: float) -> NDArray[np.bool_]:
    """Lines at a tone plus or minus one or two times the mains, below 0 Hz too.

    Parameters
    ----------
    centres : ndarray of float64, shape (n,)
        Of the lines, fractional bins.
    tones : ndarray of float64, shape (k,)
        Of the tones, fractional bins.
    step : float
        Mains frequency, bins, > 0.
    half : float
        Bins on each side that a line takes.

    Returns
    -------
    ndarray of bool, shape (n,)
        Nothing tells how strong such a sideband is: its counterpart is never clear of the mains.

    Notes
    -----
    Of a tone lower than that multiple the lower sideband shows at its positive frequency.
    """
    hidden: NDArray[np.bool_] = np.zeros(len(centres), dtype=bool)
    between = np.abs(np.subtract.outer(centres, tones))
    mirrored = np.add.outer(centres, tones)
    for multiple in SIDEBANDS:
        away = multiple * step
        reach = half + OFF_NOMINAL * away
        hidden |= (np.abs(between - away) <= reach).any(axis=1)
        hidden |= (np.abs(mirrored - away) <= reach - MIRRORED_CLEAR).any(axis=1)
    return hidden
