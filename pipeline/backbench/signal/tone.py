"""A sine in a track: its frequency, fundamental, harmonics, and what is left beside them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.background import degrees_of_freedom, squared_bins
from backbench.signal.band_sums import filled, widened, with_lines
from backbench.signal.dither import Stepped
from backbench.signal.harmonics import Harmonics, beats, beside
from backbench.signal.hidden_hum import (
    MARGIN,
    HiddenHum,
    UnderHarmonics,
    hidden_hum,
    hidden_under_tones,
    mirrored_in_lobe,
)
from backbench.signal.kept_property import kept_for_each, kept_property
from backbench.signal.mains import unconfirmed
from backbench.signal.power import Lobes, MeanSquare, line_power, lobes
from backbench.signal.spectrum import Lines, Spectrum, read_lines
from backbench.signal.track import Array

TOLD_FROM = 2.5
"""Of stray fields and rectifiers the first or second line is by far the strongest: no source."""
BAND_HZ = (20.0, 20_000.0)
PASS_BAND = 20_000 / 44_100
"""Share of the sample rate that a converter passes unaltered: common practice, no source."""
EDGE = 1.0005
"""A harmonic so little above the edge of a band, by a generator a little off, is within it."""
LAST_ORDER = 10
FEW = 4
"""Lobes that are summed one by one, which is quicker."""


@dataclass(frozen=True, eq=False)
class ToneLines(Stepped):
    """A tone found in a spectrum.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    position : float
        Of the fundamental, fractional bins.
    half : float
        Bins on each side that belong to it.
    noise : ndarray of float64, shape (bins,)
        Mean noise power by bin, V^2, from bin 0 to the end of the analysed band.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown.
    step_v : float
        Step that the samples use, V; 0 where there is none.
    """

    spectrum: Spectrum
    position: float
    half: float
    noise: Array
    mains_hz: float | None
    step_v: float = 0.0

    @property
    def frequency_hz(self) -> float:
        """Of the fundamental as found, Hz."""
        return self.position * self.spectrum.resolution_hz

    @kept_property
    def samples(self) -> float:
        """Degrees of freedom of the noise near the fundamental."""
        return degrees_of_freedom(self.position, self.spectrum.window.spread)

    @kept_property
    def phase(self) -> float:
        """Of the fundamental at the record's middle, rad, cosine."""
        return float(self.at_middles[0].phase[0])

    def apart(self, positions: Array) -> Array:
        """Distance of positions to the nearest harmonic.

        Parameters
        ----------
        positions : ndarray of float64, shape (k,)
            Bins.

        Returns
        -------
        ndarray of float64, shape (k,)
            Bins.
        """
        return np.asarray(np.abs(positions - np.rint(positions / self.position) * self.position))

    def _with_steps(self, line: MeanSquare) -> MeanSquare:
        """A line, what the samples' steps may add to it in its variance."""
        floor, slope = line.floor + self.steps**2, line.slope + 2 * self.steps
        return line._replace(floor=floor, slope=slope)

    def lobe(self, position: float) -> slice:
        """Bins that belong to a line.

        Parameters
        ----------
        position : float
            Of the line, bins.

        Returns
        -------
        slice
            Within the band whose noise is known.
        """
        first = max(math.ceil(position - self.half), 0)
        return slice(first, min(math.floor(position + self.half) + 1, len(self.noise)))

    @kept_property
    def fundamental(self) -> MeanSquare:
        """Mean square of the fundamental, from the whole of its lobe."""
        line = self._with_steps(self.whole)
        hum = max(MARGIN * self.hum_under_fundamental, self.perhaps_under_fundamental)
        floor = line.floor + hum**2
        if mirrored_in_lobe(self.spectrum, self.position, self.half, self.mains_hz):
            # A sideband or a drift: nothing tells which of them makes the lobe unlike its middle.
            floor += (line.value - self.middle.value) ** 2
        return line._replace(floor=floor, slope=line.slope + 2 * hum)

    @kept_property
    def selective(self) -> MeanSquare:
        """Mean square of the line at the position alone, for tones that may lie in the noise."""
        middle = self.middle
        near, hum = middle.slope / 2, float(self._hum_of_fundamental[0][0])
        both = MeanSquare(middle.value, near**2 + hum**2, 2 * (near + hum), self.samples)
        return self._with_steps(both)

    @kept_property
    def whole(self) -> MeanSquare:
        """As fundamental, whatever the mains may add to it."""
        lobe, spread = self.lobe(self.position), self.spectrum.window.spread
        return line_power(self.spectrum.power[lobe], self.noise[lobe], spread, self.samples)

    @kept_property
    def middle(self) -> MeanSquare:
        """As selective, whatever the mains may add to it."""
        lines, noise = self.at_middles
        near = float(noise[0])
        return MeanSquare(float(lines.square[0]) - near, near**2, 2 * near, self.samples)

    @kept_property
    def at_middles(self) -> tuple[Lines, Array]:
        """The fundamental and all harmonics at their middles, and what noise adds to each."""
        positions = self.under_all.places
        lines = read_lines(self.spectrum, positions)
        return lines, lines.noise_at(positions, self.noise)

    @kept_for_each
    def last_order(self, up_to_hz: float) -> int:
        """Highest harmonic that lies within a frequency and within the converter's band.

        Parameters
        ----------
        up_to_hz : float
            Hz, > 0.

        Returns
        -------
        int
            0 where not even the fundamental does.
        """
        limit = min(up_to_hz, self.spectrum.rate_hz * PASS_BAND) * EDGE
        inside = min(limit / self.spectrum.resolution_hz, len(self.noise) - 1 - self.half)
        return int(inside / self.position)

    def harmonics(self, last: int) -> Harmonics:
        """The harmonics from the second on.

        Parameters
        ----------
        last : int
            At least 2, at most last_order of the band.

        Returns
        -------
        Harmonics
            Orders 2 to last.
        """
        return self.every_harmonic.up_to(last)

    @kept_property
    def every_harmonic(self) -> Harmonics:
        """All harmonics up to 20 kHz, or the tenth where that is higher."""
        orders, (lines, near) = self._orders, self.at_middles
        noise, square = near[1:], lines.square[1:] - near[1:]
        hidden = self.hidden.but_first()
        if self._drifts:
            square, noise = self._lobes_of_harmonics.value, np.sqrt(self._lobes_of_harmonics.floor)
            # A whole lobe holds what stands so near to a harmonic that their lobes meet.
            hidden = hidden_hum([self.under_all._replace(orders=orders, half=2 * self.half)])[0]
        hum, blind = hidden.reckoned(square)
        return Harmonics(orders=orders, square=square, noise=noise + self.steps, hum=hum,
            blind=blind, samples=self.samples)  # fmt: skip

    @property
    def _drifts(self) -> bool:
        """Whether the fundamental is spread more than noise explains: its frequency changes."""
        whole, middle = self.fundamental, self.middle
        return 1 - middle.value / whole.value > 4 * (whole.relative + middle.relative)

    @kept_property
    def _orders(self) -> NDArray[np.int_]:
        """From the second on, up to 20 kHz, or the tenth where that is higher."""
        last = max(self.last_order(BAND_HZ[1]), min(LAST_ORDER, self.last_order(math.inf)))
        return np.arange(2, last + 1)

    @kept_property
    def _lobes_of_harmonics(self) -> Lobes:
        """Mean squares of harmonics from their whole lobes: a drift spreads a line in proportion to
        its frequency, so that its middle alone would read low."""
        positions = self._orders * self.position
        first = np.maximum(np.ceil(positions - self.half), 0).astype(int)
        stop = np.minimum(np.floor(positions + self.half) + 1, len(self.noise)).astype(int)
        spread = self.spectrum.window.spread
        return lobes(self.spectrum.power, self.noise, spread, first, stop)

    @kept_property
    def _hum_of_fundamental(self) -> tuple[Array, NDArray[np.bool_]]:
        return self.hidden.first().reckoned(np.array([self.middle.value]))

    @kept_property
    def hidden(self) -> HiddenHum:
        """Mains lines that may hide in the fundamental and in all harmonics."""
        return hidden_hum([self.under_all])[0]

    @kept_property
    def under_all(self) -> UnderHarmonics:
        """The fundamental and all harmonics as lines under which mains lines are sought."""
        orders = np.concatenate([[1], self._orders])
        given = (self.spectrum, self.noise, self.position, self.half, self.mains_hz)
        return UnderHarmonics(*given, orders, self.unconfirmed)

    @kept_property
    def unconfirmed(self) -> list[float]:
        """Other mains frequencies, Hz, where no line tells that it was the stated one."""
        return unconfirmed(self.spectrum, self.noise, self.mains_hz, self.apart)

    @kept_property
    def residual(self) -> MeanSquare:
        """All that is in 20 Hz to 20 kHz but the fundamental: harmonics, hum and noise."""
        return self.residual_to(BAND_HZ[1])

    def residual_to(self, top_hz: float) -> MeanSquare:
        """All that is in 20 Hz to top_hz but the fundamental.

        Parameters
        ----------
        top_hz : float
            Upper end of the band, Hz.

        Returns
        -------
        MeanSquare
            V^2.
        """
        band = self._band(top_hz)
        left = self._left(band, self._near_fundamental(band), top_hz)
        return widened(with_lines(left, self.hum_under_fundamental), self._beats(top_hz))

    @kept_property
    def hum_under_fundamental(self) -> float:
        """Mean square, V^2, of a mains line in the fundamental's lobe, as strong as those around;
        0 where none lies there, or where nothing tells of it."""
        hum, blind = self._hum_of_fundamental
        return 0.0 if blind[0] else float(hum[0]) / MARGIN

    @kept_property
    def perhaps_under_fundamental(self) -> float:
        """Mean square, V^2, of the most of a mains line or sideband in a low tone's lobe;
        0 where none lies there and, above the second multiple, where those around tell of it."""
        told = self.frequency_hz > TOLD_FROM * (self.mains_hz or 0.0)
        if told and not self._hum_of_fundamental[1][0]:
            return 0.0
        places = np.array([self.position])
        return float(
            hidden_under_tones(self.spectrum, self.noise, places, self.half, self.mains_hz)[0]
        )

    def filtered(self, power: Callable[[Array], Array]) -> MeanSquare:
        """What a filter leaves of 20 Hz to 20 kHz without the fundamental, of which nothing passes.

        The noise beside a steady tone does, and a notch takes some off all that stands near it.

        Parameters
        ----------
        power : callable
            Power factor at squares of frequencies re the tone's, which it may write over.

        Returns
        -------
        MeanSquare
            V^2.
        """
        band = self._band()
        weights = power(squared_bins(len(self.noise))[band] * (1 / self.position**2))
        left = self._left(band, self._near_fundamental(band), weights=weights)
        # A notch is narrow where the tone is: what hides in it may pass or not.
        return widened(left, self.hum_under_fundamental**2 + self._beats(BAND_HZ[1]))

    def _beats(self, top_hz: float) -> float:
        """Variance, V^4, that mains lines under harmonics add to a sum of powers."""
        last = min(self.last_order(top_hz), len(self._orders) + 1)
        return self._beats_up_to(last) if last >= 2 else 0.0

    @kept_for_each
    def _beats_up_to(self, last: int) -> float:
        return beats(self.harmonics(last), lambda: self._lobes_of_harmonics.value)

    @kept_property
    def noise_only(self) -> MeanSquare:
        """What is in 20 Hz to 20 kHz but the fundamental and the harmonics that stand out.

        Mains lines count as noise, those under a harmonic too: where a harmonic is taken out, the
        line that may hide there stays as strong as those beside it; where it could be a mains line
        altogether, it isn't taken out. What else stands in the lobe of a harmonic stays as well.
        """
        band, last = self._band(), self.last_order(BAND_HZ[1])
        removed, hidden, blind = self._near_fundamental(band), 0.0, 0.0
        if last >= 2:
            harmonics = self.harmonics(last)
            removed += [self.lobe((k + 2) * self.position) for k in harmonics.taken_out]
            # The line there is as strong as those beside it, or all that is seen.
            lines = sum([harmonics.hidden_in(k, 1 / MARGIN) for k in harmonics.taken_out])
            hidden = lines + sum(self.beside_harmonics) + self.hum_under_fundamental
            blind = float(np.maximum(harmonics.square, 0.0)[harmonics.blind].sum()) ** 2
        return widened(with_lines(self._left(band, removed), hidden), blind)

    @kept_property
    def between_lines(self) -> float:
        """Mean square, V^2, of the noise between lines, 20 Hz to 20 kHz or the record's band."""
        return float(self.noise[self._band()].sum())

    @kept_property
    def beside_harmonics(self) -> list[float]:
        """Mean squares of what stands in the lobes of harmonics and is none of them, V^2: a mains
        line or sideband so near to a harmonic would go with it where that is taken out."""
        last = self.last_order(BAND_HZ[1])
        if last < 2 or self._drifts:
            return []
        squares, taken = self.harmonics(last).square, self.harmonics(last).taken_out
        if len(taken) <= FEW:
            power, noise, spread = self.spectrum.power, self.noise, self.spectrum.window.spread
            near = [self.lobe((k + 2) * self.position) for k in taken]
            whole = [line_power(power[x], noise[x], spread, self.samples) for x in near]
        else:
            every = self._lobes_of_harmonics
            whole = [MeanSquare(float(every.value[k]), float(every.floor[k])) for k in taken]
        return [beside(*each) for each in zip(squares[taken].tolist(), whole, strict=True)]

    @kept_property
    def perhaps_hum(self) -> float:
        """Mean square in 20 Hz to 20 kHz at harmonics that could be mains lines altogether, V^2."""
        last = self.last_order(BAND_HZ[1])
        return self.harmonics(last).perhaps_hum if last >= 2 else 0.0

    def _band(self, top_hz: float = BAND_HZ[1]) -> slice:
        """20 Hz to a frequency, with the whole lobe of a harmonic at the upper edge."""
        band = self.spectrum.slice_of(BAND_HZ[0], top_hz)
        last = self.last_order(top_hz) * self.position
        stop = max(band.stop, math.floor(last + self.half) + 1)
        return slice(band.start, min(stop, len(self.noise)))

    def _near_fundamental(self, band: slice) -> list[slice]:
        """Bins of the steady part, as far as the band holds them, and of the fundamental."""
        return [slice(band.start, math.ceil(self.half)), self.lobe(self.position)]

    def _left(
        self, band: slice, removed: list[slice], top_hz: float = BAND_HZ[1],
        weights: Array | None = None,
    ) -> MeanSquare:  # fmt: skip
        """Sum of a band in which the noise stands in for the removed ranges of bins.

        weights: power factors by bin of the band, None for 1.
        """
        if self.spectrum.rate_hz * PASS_BAND * EDGE < top_hz:
            raise Refusal(
                f"a sample rate of {in_text(self.spectrum.rate_hz, 'Hz', 6)} doesn't reach "
                f"{in_text(top_hz, 'Hz', 6)}; record at 44.1 kHz or more"
            )
        power, noise = self.spectrum.power[band], self.noise[band]
        if weights is not None:
            power, noise = power * weights, np.multiply(noise, weights, out=weights)
        return filled(power, noise, removed, band, self.spectrum.window.spread, self.samples)
