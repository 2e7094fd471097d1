"""Several tones found in one track, and what stands beside and between them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.signal.background import background, degrees_of_freedom
from backbench.signal.power import MeanSquare, line_power
from backbench.signal.record_checks import check_record
from backbench.signal.spectrum import Spectrum, peak_position, peak_positions, read_lines, spectrum
from backbench.signal.tone import BAND_HZ, EDGE, HUM_STANDING, PASS_BAND
from backbench.signal.tone_search import GENERATOR_TOLERANCE, LEAST_POWER_FRACTION, LEAST_STEADY
from backbench.signal.track import Array, Track
from backbench.signal.window import FOUR_TERMS, SEVEN_TERMS

REACH = 0.45
"""Share of the distance to the next tone within which a tone is looked for."""
MARGIN_BINS = 0.5
"""Bins that are added to either side of a lobe, for tones that drift a little."""
NOT_DETECTED_BELOW = 1e-3
"""A tone of less than this share of the strongest one's power (30 dB) is missing."""
NOISE_ORDER = 10
"""Products up to this order are kept out of the noise."""


@dataclass(frozen=True, eq=False)
class ToneSet:
    """Tones found in a spectrum.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    positions : ndarray of float64, shape (k,)
        Of the tones, fractional bins, rising.
    noise : ndarray of float64, shape (bins,)
        Mean noise power by bin, V^2.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown.
    """

    spectrum: Spectrum
    positions: Array
    noise: Array
    mains_hz: float | None

    @property
    def half(self) -> float:
        """Bins on each side of a line that belong to it."""
        return self.spectrum.window.half_width + MARGIN_BINS

    @property
    def frequencies_hz(self) -> Array:
        """Of the tones as found, Hz."""
        found: Array = self.positions * self.spectrum.resolution_hz
        return found

    @cached_property
    def tones(self) -> tuple[MeanSquare, ...]:
        """Mean square of each tone, from the whole of its lobe."""
        return tuple(self._lobe_power(position) for position in self.positions.tolist())

    @cached_property
    def together(self) -> MeanSquare:
        """Mean square of all tones."""
        return summed(self.tones)

    def lines(self, positions: Array) -> list[MeanSquare]:
        """Mean squares of the lines at positions (bins), their noise taken off.

        A mains line that may hide in one, as strong as those beside it, widens its variance.

        Parameters
        ----------
        positions : ndarray of float64, shape (k,)
            Bins; fractions count.

        Returns
        -------
        list of MeanSquare
            V^2, one for each position.
        """
        read = read_lines(self.spectrum, positions)
        near = read.noise * self.noise[np.rint(positions).astype(int)]
        return [
            self._one(float(square - noise), float(noise), position)
            for square, noise, position in zip(read.square, near, positions.tolist(), strict=True)
        ]

    def _one(self, value: float, near: float, position: float) -> MeanSquare:
        hum = self._hum(position)
        samples = degrees_of_freedom(position, self.spectrum.window.spread)
        return MeanSquare(value, near**2 + hum**2, 2 * (near + hum), samples)

    def covers(self, position: float) -> bool:
        """Whether a position (bins) lies within the converter's band and off the steady part.

        Parameters
        ----------
        position : float
            Bins.

        Returns
        -------
        bool
        """
        top = min(self.spectrum.rate_hz * PASS_BAND * EDGE / self.spectrum.resolution_hz,
                  len(self.noise) - 1 - self.half)  # fmt: skip
        return self.half < position <= top

    @cached_property
    def removed(self) -> NDArray[np.bool_]:
        """True for each bin of the spectrum that belongs to a tone or to the steady part."""
        return ~_clear_of(self.positions, self.half, len(self.spectrum.bins))

    def _lobe_power(self, position: float) -> MeanSquare:
        lobe = slice(math.ceil(position - self.half), math.floor(position + self.half) + 1)
        spread = self.spectrum.window.spread
        samples = degrees_of_freedom(position, spread)
        return line_power(self.spectrum.power[lobe], self.noise[lobe], spread, samples)

    def _hum(self, position: float) -> float:
        """Mean square of a mains line that may hide at a position, V^2: the stronger neighbour."""
        step = (self.mains_hz or 0.0) / self.spectrum.resolution_hz
        if step < 2 * self.half or abs(position - round(position / step) * step) > self.half:
            return 0.0
        beside = np.array([position - step, position + step])
        usable = [b for b in beside if self.half < b < len(self.noise) - 1 and self._is_free(b)]
        if not usable:
            return 0.0
        lines = read_lines(self.spectrum, np.array(usable))
        noise = lines.noise * self.noise[np.rint(usable).astype(int)]
        standing = np.where(lines.square > HUM_STANDING * noise, lines.square - noise, 0.0)
        return float(standing.max())

    def _is_free(self, position: float) -> bool:
        """Whether no tone and no product of low order stands at a position: a neighbour that
        is itself a product tells nothing of the mains."""
        return bool(np.min(np.abs(self._low_orders - position)) > 2 * self.half)

    @cached_property
    def _low_orders(self) -> Array:
        """Positions of the tones, and of a pair's products up to the third order."""
        return product_positions(self.positions, 3) if len(self.positions) == 2 else self.positions


def summed(parts: Sequence[MeanSquare]) -> MeanSquare:
    """Sum of mean squares whose noises are independent.

    Parameters
    ----------
    parts : sequence of MeanSquare
        At least one.

    Returns
    -------
    MeanSquare
        V^2; with the degrees of freedom of the part that has the fewest.
    """
    strong = np.array([max(part.value, 0.0) for part in parts])
    weight = strong if strong.sum() > 0 else np.ones(len(parts))
    slope = float(np.sum(weight * [part.slope for part in parts]) / weight.sum())
    return MeanSquare(
        sum(part.value for part in parts), sum(part.floor for part in parts), slope,
        min(part.samples for part in parts),
    )  # fmt: skip


def spectrum_apart(track: Track, apart_hz: float) -> Spectrum:
    """A spectrum that keeps lines apart_hz from each other apart.

    Parameters
    ----------
    track : Track
        The record.
    apart_hz : float
        Distance of the nearest lines to be told apart, Hz, > 0.

    Returns
    -------
    Spectrum
        Under the seven-term window where the record is long enough, else the four-term one.

    Raises
    ------
    Refusal
        Where the record is too short for either.
    """
    seconds = len(track.volts) / track.rate_hz
    for terms in (SEVEN_TERMS, FOUR_TERMS):
        if apart_hz * seconds >= 2 * (len(terms) + MARGIN_BINS) + 1:
            return spectrum(track, terms)
    raise Refusal(
        f"too short: lines {apart_hz:.4g} Hz apart need a record of at least "
        f"{shortest_apart_s(apart_hz):.2g} s"
    )


def shortest_apart_s(apart_hz: float) -> float:
    """Duration of the shortest record in which lines can be told apart.

    Parameters
    ----------
    apart_hz : float
        Distance of the nearest lines, Hz, > 0.

    Returns
    -------
    float
        s.
    """
    return (2 * (len(FOUR_TERMS) + MARGIN_BINS) + 1) / apart_hz


_kept: WeakKeyDictionary[Track, dict[tuple[object, ...], ToneSet]] = WeakKeyDictionary()


def find_tones(
    track: Track, stated_hz: Sequence[float], apart_hz: float, mains_hz: float | None
) -> ToneSet:
    """The stated tones in a track, looked for at the first call and kept as long as the track.

    Parameters
    ----------
    track : Track
        The record.
    stated_hz : sequence of float
        Tones in rising order, Hz. Each may be 2 % off, by less than half the distance to the next.
    apart_hz : float
        Distance of the nearest lines to be told apart, Hz.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown.

    Returns
    -------
    ToneSet

    Raises
    ------
    Refusal
        Where the record is unfit, a tone is missing or unsteady, or the tones hold less than 60 %
        of the power.
    """
    tones = seek_tones(track, stated_hz, apart_hz, mains_hz)
    _refuse_unsteady(tones, stated_hz)
    return tones


def seek_tones(
    track: Track, stated_hz: Sequence[float], apart_hz: float, mains_hz: float | None
) -> ToneSet:
    """As find_tones, for tones that may change within the record.

    Parameters
    ----------
    track : Track
        The record.
    stated_hz : sequence of float
        See find_tones.
    apart_hz : float
        See find_tones.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown.

    Returns
    -------
    ToneSet

    Raises
    ------
    Refusal
        As find_tones, but for tones that change.
    """
    kept, key = _kept.setdefault(track, {}), (*stated_hz, apart_hz, mains_hz)
    if key not in kept:
        check_record(track)
        kept[key] = _sought(track, stated_hz, apart_hz, mains_hz)
    return kept[key]


def _sought(
    track: Track, stated_hz: Sequence[float], apart_hz: float, mains_hz: float | None
) -> ToneSet:
    if stated_hz[-1] > PASS_BAND * EDGE * track.rate_hz:
        raise Refusal(
            f"a sample rate of {track.rate_hz:g} Hz can't hold a tone of {stated_hz[-1]:g} Hz"
        )
    found = spectrum_apart(track, apart_hz)
    peaks = [_peak(found, hz, _nearest(stated_hz, hz)) for hz in stated_hz]
    positions = peak_positions(found, np.array(peaks))
    half, count = found.window.half_width + MARGIN_BINS, len(found.bins)
    lines = product_positions(positions, NOISE_ORDER) if len(positions) == 2 else positions
    clear = _clear_of(lines, half, count)
    if not clear.any():
        raise Refusal("too short: no noise can be told apart between the tones")
    tones = ToneSet(found, positions, background(found.power, clear, count), mains_hz)
    _check_tones(tones, stated_hz)
    return tones


def product_positions(positions: Array, order: int) -> Array:
    """Where products of two tones up to an order fall, with the tones and their harmonics.

    Parameters
    ----------
    positions : ndarray of float64, shape (2,)
        Of the two tones, fractional bins.
    order : int
        Highest order, >= 1.

    Returns
    -------
    ndarray of float64, shape (k,)
        Fractional bins, rising.
    """
    low, high = positions.tolist()
    pairs = itertools.product(range(-order, order + 1), range(order + 1))
    found = {abs(m * low + n * high) for m, n in pairs if 0 < abs(m) + n <= order}
    return np.array(sorted(found))


def _nearest(stated_hz: Sequence[float], hz: float) -> float:
    """Distance to the nearest other tone, or to 0 Hz."""
    return min([hz, *(abs(hz - other) for other in stated_hz if other != hz)])


def _peak(found: Spectrum, hz: float, room_hz: float) -> int:
    """Greatest bin near a stated frequency."""
    reach = max(min(GENERATOR_TOLERANCE * hz, REACH * room_hz) / found.resolution_hz, 2.0)
    stated = hz / found.resolution_hz
    first = max(int(stated - reach), 1)
    last = min(int(stated + reach) + 2, len(found.bins) - 1)
    return first + int(found.power[first:last].argmax())


def _clear_of(lines: Iterable[float], half: float, count: int) -> NDArray[np.bool_]:
    """Bins further than `half` from the steady part and from every line."""
    clear = np.ones(count, dtype=bool)
    for line in (0.0, *lines):
        clear[max(math.ceil(line - half), 0) : max(math.floor(line + half) + 1, 0)] = False
    return clear


def _check_tones(tones: ToneSet, stated_hz: Sequence[float]) -> None:
    """Raises Refusal where a tone is missing, or most of the signal is something else."""
    strongest = max(tone.value for tone in tones.tones)
    for k in range(len(stated_hz)):
        position, tone = float(tones.positions[k]), tones.tones[k]
        lost = not tone.stands_out or tone.value < NOT_DETECTED_BELOW * strongest
        if lost or not _is_peak(tones.spectrum, round(position)):
            raise Refusal(_missing(tones, stated_hz, k))
    spectrum = tones.spectrum
    top = int(max(BAND_HZ[1] / spectrum.resolution_hz, tones.positions[-1] + tones.half)) + 1
    whole = float(spectrum.power[spectrum.window.half_width + 1 : top].sum())
    if tones.together.value < LEAST_POWER_FRACTION * whole:
        raise Refusal(_missing(tones, stated_hz, None))


def _refuse_unsteady(tones: ToneSet, stated_hz: Sequence[float]) -> None:
    """Raises Refusal where a tone's frequency or level changes."""
    middles = tones.lines(tones.positions)
    for hz, tone, middle in zip(stated_hz, tones.tones, middles, strict=True):
        if middle.value < LEAST_STEADY * tone.value - 4 * math.sqrt(tone.variance):
            raise Refusal(
                f"the tone near {hz:g} Hz isn't steady: its frequency or level changes "
                "within the record"
            )


def _is_peak(found: Spectrum, nearest: int) -> bool:
    """Whether a line stands at a bin, rather than the foot of one further off."""
    around = found.power[max(nearest - 2, 0) : nearest + 3]
    return float(around.max()) == float(found.power[nearest - 1 : nearest + 2].max())


def _missing(tones: ToneSet, stated_hz: Sequence[float], lost: int | None) -> str:
    """What is amiss, with the strongest line that was not stated where one stands out."""
    near = "the stated tones hold less than most of the signal"
    there = tones.positions
    if lost is not None:
        near, there = f"no tone near {stated_hz[lost]:g} Hz", np.delete(there, lost)
    spectrum = tones.spectrum
    clear = _clear_of(there, tones.half, len(spectrum.bins))
    peak = int(np.argmax(np.where(clear, spectrum.power, 0.0)[:-1]))
    if spectrum.power[peak] < NOT_DETECTED_BELOW * max(tone.value for tone in tones.tones):
        return near
    at = peak_position(spectrum, peak) * spectrum.resolution_hz
    return f"{near}; a strong line that was not stated is at {at:.6g} Hz"
