"""Mains lines that may hide under the harmonics of a tone.

A multiple of the mains frequency within the resolution can't be told from a harmonic. The multiples
around it, which stand clear of the tone, tell how strong such lines are there. Rectifiers make
every second multiple, so that only one an even number of multiples away says anything of it. Where
none stands clear, nothing is known of it but what the record shows at the harmonic itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.signal.nearest_lines import apart_from, fenced
from backbench.signal.spectrum import Spectrum
from backbench.signal.track import Array

OFF_NOMINAL = 0.002
"""How far the mains may be from its nominal frequency: common practice, no source."""
NEIGHBOUR_MULTIPLES = np.array([-4, -3, -2, -1, 1, 2, 3, 4])
"""Multiples that are looked at around a harmonic."""
EVEN = np.flatnonzero(NEIGHBOUR_MULTIPLES % 2 == 0)
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
STANDING = 6.0
"""A mains line stands out above so many standard deviations of the noise in its lobe."""
POOLED = 3.0
"""Standard deviations of their mean above which weak lines stand out together."""
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


def hidden_hum(
    spectrum: Spectrum,
    noise: Array,
    position: float,
    half: float,
    mains_hz: float | None,
    orders: NDArray[np.int_],
    others: Sequence[float] = (),
) -> HiddenHum:
    """What the mains may hide under harmonics of a tone.

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
    others : sequence of float, optional
        Frequencies, Hz, that the mains may have had instead: what their lines show counts, too.

    Returns
    -------
    HiddenHum
        Arrays of shape (n,).
    """
    nothing = HiddenHum(np.zeros(len(orders)), np.zeros(len(orders), dtype=bool))
    if not mains_hz or not len(orders):
        return nothing

    def apart(centres: Array) -> Array:
        away: Array = np.abs(centres - np.rint(centres / position) * position)
        return away

    steps = np.array([mains_hz, *others]) / spectrum.resolution_hz
    count, many = len(orders), len(steps)
    centres: Array = np.asarray(orders * position, dtype=np.float64)
    aside = np.zeros(many * count, dtype=bool)
    aside[:count] = on_sideband(centres, np.array([position]), steps[0], half) & (orders > 1)
    # Every mains frequency in one call; of the others no more counts than what stands there.
    hidden = hidden_among(
        spectrum,
        noise,
        np.tile(centres, many),
        half=half,
        step=np.repeat(steps, count),
        apart=apart,
        aside=aside,
    )
    return HiddenHum(hidden.square.reshape(many, count).max(axis=0), hidden.blind[:count])


def hidden_among(
    spectrum: Spectrum,
    noise: Array,
    centres: Array,
    half: float,
    step: float | Array,
    apart: Callable[[Array], Array],
    aside: NDArray[np.bool_],
) -> HiddenHum:
    """What the mains may hide under lines at any places.

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
    step : float or ndarray of float64, shape (n,)
        Mains frequency, bins, > 0; of each line where there are several.
    apart : callable
        Gives the distance of positions, bins, to the nearest line that the stimulus may make.
    aside : ndarray of bool, shape (n,)
        Whether a sideband at a multiple of the mains may lie under a line.

    Returns
    -------
    HiddenHum
        Arrays of shape (n,).
    """
    nearest = np.maximum(np.rint(centres / step), 1)
    reach = np.minimum(half + OFF_NOMINAL * centres, step / 2)
    near = np.abs(centres - nearest * step) <= reach
    near &= centres < len(noise) - 1
    square = np.zeros(len(centres))
    if not near.any():
        return HiddenHum(square, aside)
    own = np.broadcast_to(step, near.shape)[near]
    strongest, known = _from_neighbours(spectrum, noise, nearest[near], own, apart, half)
    square[near] = np.where(known, MARGIN * strongest, 0.0)
    blind = aside.copy()
    blind[near] |= ~known
    return HiddenHum(square, blind)


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
    square[near] = _from_neighbours(spectrum, noise, nearest[near], steps, apart, half)[0]
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


def _from_neighbours(
    spectrum: Spectrum,
    noise: Array,
    nearest: Array,
    steps: Array,
    apart: Callable[[Array], Array],
    half: float,
) -> tuple[Array, NDArray[np.bool_]]:
    """Strongest of the multiples around each one, V^2, and whether these tell of it at all.

    nearest: multiple of the mains. steps: mains frequency, bins, of each.
    Lines that don't stand out one by one may do so together: then the most that their mean may be.
    """
    multiples, step = nearest[:, None] + NEIGHBOUR_MULTIPLES, steps[:, None]
    centres = multiples * step
    lobe = spectrum.window.half_width
    reach = np.minimum(lobe + OFF_NOMINAL * centres, step / 2)
    first = np.floor(centres - reach).astype(int)
    last = np.ceil(centres + reach).astype(int) + 1
    clear = (first > lobe) & (last < len(noise))
    clear &= apart(centres) > half + reach
    # One bin stands for a place that isn't clear: as near to it as the rest, which spares sums.
    first = np.minimum(np.maximum(first, 0), len(noise) - 2)
    last = np.where(clear, last, first + 1)
    middle = clear * noise[np.where(clear, np.rint(centres).astype(int), 0)]
    width = last - first
    # Both are 0 where a place isn't clear.
    square = clear * (_sums_between(spectrum.power, first, last) - width * middle)
    scatter = middle * np.sqrt(spectrum.window.spread * width)
    standing = np.where(square > STANDING * scatter, square, 0.0)
    known: NDArray[np.bool_] = np.logical_or.reduce(clear[:, EVEN], axis=1)
    count = np.maximum(np.add.reduce(clear, axis=1, dtype=int), 1)
    mean = np.add.reduce(square, axis=1) / count
    own = POOLED * np.sqrt(np.add.reduce(scatter * scatter, axis=1)) / count
    together = np.where(mean > own, mean + own, 0.0)
    strongest: Array = np.maximum(np.maximum.reduce(standing, axis=1), together)
    return strongest, known


def _sums_between(power: Array, first: NDArray[np.int_], last: NDArray[np.int_]) -> Array:
    """Sums of ranges of bins, without a running sum whose rounding hides small lines.

    Each range holds a bin at least, and ends before the last bin: what stands between two
    ranges is summed too, and left out.
    """
    bounds = np.stack([first, last], axis=-1).ravel()
    sums: Array = np.add.reduceat(power, bounds)[::2].reshape(first.shape)
    return sums
