"""Several tones of one record, and what stands beside and between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import starmap

import numpy as np
from numpy.typing import NDArray

from backbench.signal.background import degrees_of_freedom
from backbench.signal.dither import Stepped
from backbench.signal.hidden_hum import (
    HiddenHum,
    UnderLines,
    hidden_among,
    hidden_under_tones,
    on_sideband,
)
from backbench.signal.kept_property import kept_property
from backbench.signal.nearest_lines import apart_from, fenced
from backbench.signal.power import MeanSquare, lobes
from backbench.signal.spectrum import Spectrum, read_lines
from backbench.signal.tone import EDGE, PASS_BAND
from backbench.signal.track import Array

MARGIN_BINS = 0.5
"""Bins that are added to either side of a lobe, for tones that drift a little."""
NOISE_ORDER = 10
"""Products up to this order are kept out of the noise, and tell nothing of the mains."""


@dataclass(frozen=True, eq=False)
class ToneSet(Stepped):
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
    step_v : float
        Step that the samples use, V; 0 where there is none.
    """

    spectrum: Spectrum
    positions: Array
    noise: Array
    mains_hz: float | None
    step_v: float = 0.0

    @kept_property
    def half(self) -> float:
        """Bins on each side of a line that belong to it."""
        return self.spectrum.window.half_width + MARGIN_BINS

    @property
    def frequencies_hz(self) -> Array:
        """Of the tones as found, Hz."""
        hertz: Array = self.positions * self.spectrum.resolution_hz
        return hertz

    @kept_property
    def tones(self) -> tuple[MeanSquare, ...]:
        """Mean square of each tone, from the whole of its lobe.

        A mains line or a sideband that may hide there is in the variance.
        """
        hum = hidden_under_tones(
            self.spectrum, self.noise, self.positions, self.half, self.mains_hz
        )
        spread, half = self.spectrum.window.spread, self.half
        first = np.ceil(self.positions - half).astype(int)
        stop = np.floor(self.positions + half).astype(int) + 1
        whole = lobes(self.spectrum.power, self.noise, spread, first, stop)
        floor, slope = whole.floor + hum * hum, whole.slope + 2 * hum
        samples = [degrees_of_freedom(place, spread) for place in self.positions.tolist()]
        each = zip(whole.value.tolist(), floor.tolist(), slope.tolist(), samples, strict=True)
        return tuple(starmap(MeanSquare, each))

    @kept_property
    def together(self) -> MeanSquare:
        """Mean square of all tones."""
        return summed(self.tones)

    def lines(self, positions: Array, hidden: HiddenHum | None = None) -> list[MeanSquare]:
        """Mean squares of the lines at positions (bins), their noise taken off.

        A mains line or a sideband that may hide in one widens its variance: as strong as those
        around it, or where nothing tells, so strong that it may be all that is seen.

        Parameters
        ----------
        positions : ndarray of float64, shape (k,)
            Bins; fractions count.
        hidden : HiddenHum, optional
            What hum gives for them; asked where not given.

        Returns
        -------
        list of MeanSquare
            V^2, one for each position.
        """
        values, near = self._values(positions)
        hum, _ = (hidden or self.hum(positions)).reckoned(values)
        return [
            self._one(*given)
            for given in zip(
                values.tolist(), near.tolist(), hum.tolist(), positions.tolist(), strict=True
            )
        ]

    @kept_property
    def middles(self) -> list[float]:
        """Mean squares of the tones as the middles of their lobes show them, their noise taken off,
        V^2."""
        middles: list[float] = self._values(self.positions)[0].tolist()
        return middles

    def _values(self, positions: Array) -> tuple[Array, Array]:
        """Mean squares of lines without their noise, and that of the noise, V^2."""
        read = read_lines(self.spectrum, positions)
        near = read.noise_at(positions, self.noise)
        return np.asarray(read.square - near), near

    def _one(self, value: float, near: float, hum: float, position: float) -> MeanSquare:
        near += self.steps
        samples = degrees_of_freedom(position, self.spectrum.window.spread)
        return MeanSquare(value, near**2 + hum**2, 2 * (near + hum), samples)

    def hum(self, positions: Array) -> HiddenHum:
        """Mains lines, and sidebands of the tones, that may hide at positions.

        Parameters
        ----------
        positions : ndarray of float64, shape (k,)
            Bins; fractions count.

        Returns
        -------
        HiddenHum
            None on the tones themselves but mains lines.
        """
        if not self.mains_hz:
            return HiddenHum(np.zeros(len(positions)), np.zeros(len(positions), dtype=bool))
        step = self.mains_hz / self.spectrum.resolution_hz
        own = apart_from(positions, fenced(self.positions)) < 1.0
        aside = on_sideband(positions, self.positions, step, self.half) & ~own

        def apart(centres: Array) -> Array:
            return apart_from(centres, self._products)

        under = UnderLines(
            self.spectrum, self.noise, positions, half=self.half, apart=apart, aside=aside,
            steps=np.full(len(positions), step),
        )  # fmt: skip
        return hidden_among([under])[0]

    def apart_from_products(self, positions: Array) -> Array:
        """Distance of positions to the nearest tone or product of theirs.

        Parameters
        ----------
        positions : ndarray of float64, shape (k,)
            Bins.

        Returns
        -------
        ndarray of float64, shape (k,)
            Bins.
        """
        return apart_from(positions, self._products)

    @kept_property
    def _products(self) -> Array:
        """Of a pair, up to the order that is kept out of the noise; of more the tones: fenced."""
        pair = len(self.positions) == 2
        return fenced(product_positions(self.positions, NOISE_ORDER) if pair else self.positions)

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
        return self.half < position <= self._top

    def covered(self, positions: Array) -> Array:
        """Those of some positions that lie there.

        Parameters
        ----------
        positions : ndarray of float64, shape (k,)
            Bins.

        Returns
        -------
        ndarray of float64, shape (m,)
        """
        return positions[(positions > self.half) & (positions <= self._top)]

    @kept_property
    def _top(self) -> float:
        """End of the converter's band, bins."""
        top = self.spectrum.rate_hz * PASS_BAND * EDGE / self.spectrum.resolution_hz
        return min(top, len(self.noise) - 1 - self.half)

    @kept_property
    def beside(self) -> NDArray[np.bool_]:
        """True for each bin of the spectrum that is neither of a tone nor of the steady part."""
        return clear_of_lines(self.positions, self.half, len(self.spectrum.bins))

    @kept_property
    def _lobes(self) -> list[tuple[int, int]]:
        return lobes_of(self.positions, self.half)

    def power_beside(self, band: slice) -> Array:
        """Power by bin of a band, 0 where a bin belongs to a tone or to the steady part.

        Parameters
        ----------
        band : slice
            Of the bins.

        Returns
        -------
        ndarray of float64, shape (k,)
            V^2; read only and kept, as several ask for it.
        """
        kept, ends = self._powers_beside, (band.start, band.stop)
        if ends not in kept:
            kept[ends] = self.without_tones(self.spectrum.power, band)
            kept[ends].setflags(write=False)
        return kept[ends]

    @kept_property
    def _powers_beside(self) -> dict[tuple[int, int], Array]:
        return {}

    def without_tones(self, values: Array, band: slice) -> Array:
        """Values by bin of a band, 0 where a bin belongs to a tone or to the steady part.

        Parameters
        ----------
        values : ndarray of float64, shape (bins,)
            In any unit.
        band : slice
            Of the bins.

        Returns
        -------
        ndarray of float64, shape (k,)
            A copy, in the same unit.
        """
        left = values[band].copy()
        for first, stop in self._lobes:
            left[max(first - band.start, 0) : max(stop - band.start, 0)] = 0.0
        return left


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
    weights = [max(part.value, 0.0) for part in parts]
    if sum(weights) <= 0:
        weights = [1.0] * len(parts)
    slope = sum(w * part.slope for w, part in zip(weights, parts, strict=True)) / sum(weights)
    return MeanSquare(
        sum(part.value for part in parts), sum(part.floor for part in parts), slope,
        min(part.samples for part in parts),
    )  # fmt: skip


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
    of_low, of_high = _multiples(order)
    places = np.abs(of_low * positions[0] + of_high * positions[1])
    places.sort()
    other = np.ones(len(places), dtype=bool)
    np.not_equal(places[1:], places[:-1], out=other[1:])
    return np.asarray(places[other])


@lru_cache(maxsize=4)
def _multiples(order: int) -> tuple[Array, Array]:
    """Multiples of the lower and of the higher of two tones that make products up to an order."""
    of_low = np.arange(-order, order + 1.0)[:, None] + np.zeros(order + 1)
    of_high = np.arange(order + 1.0) + np.zeros((2 * order + 1, 1))
    together = np.abs(of_low) + of_high
    chosen = (together > 0) & (together <= order)
    return of_low[chosen], of_high[chosen]


def clear_of_lines(lines: Array, half: float, count: int) -> NDArray[np.bool_]:
    """Bins further than `half` from the steady part and from every line.

    Parameters
    ----------
    lines : ndarray of float64, shape (k,)
        Fractional bins, >= 0.
    half : float
        Bins.
    count : int
        Bins in all.

    Returns
    -------
    ndarray of bool, shape (count,)
    """
    clear = np.ones(count, dtype=bool)
    for first, stop in lobes_of(lines, half):
        clear[first:stop] = False
    return clear


def lobes_of(lines: Array, half: float) -> list[tuple[int, int]]:
    """First bin and the one after the last that belong to the steady part and to each line.

    Parameters
    ----------
    lines : ndarray of float64, shape (k,)
        Fractional bins, >= 0.
    half : float
        Bins on either side.

    Returns
    -------
    list of (int, int)
        k + 1 of them, >= 0.
    """
    places = np.concatenate([[0.0], lines])
    first = np.maximum(np.ceil(places - half), 0.0).astype(int)
    stop = np.floor(places + half).astype(int) + 1
    return list(zip(first.tolist(), stop.tolist(), strict=True))
