"""Residual noise and hum with nothing playing."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from operator import itemgetter
from typing import Any

import numpy as np

from backbench.errors import NotApplicable, Refusal
from backbench.metrics.band_sums import (
    BandSum,
    Factors,
    Weighting,
    band_sums,
    factors,
    rms_known_to,
)
from backbench.metrics.bench_floor import CHOICE, LINE_CHOICE, greatest_own, less_noise, lines_off
from backbench.metrics.bench_levels import loop_back_views
from backbench.metrics.declaration import CaptureData, MeasuredValue, metric, view
from backbench.metrics.lines_elsewhere import Elsewhere, bounded_elsewhere, places_elsewhere
from backbench.metrics.noise_in_time import (
    HISS_HZ,
    Blocks,
    Clear,
    clear_of_lines,
    middles_of,
    refuse_gate,
)
from backbench.metrics.nothing_playing import loud_remark, refuse_played
from backbench.metrics.recorder_rate import rate_untold
from backbench.metrics.sample_steps import (
    HALF_STEP,
    STEPS_CHOICE,
    weighted_steps_off,
    with_undithered_steps,
)
from backbench.metrics.traits import AT_IDLE, Overview, Traits
from backbench.metrics.warnings import joined, warning
from backbench.quantities.writing import in_text
from backbench.signal.background import background
from backbench.signal.band_end import power_up_to
from backbench.signal.block_scatter import block_powers
from backbench.signal.dither import Stepped
from backbench.signal.itu_468 import weighted_468
from backbench.signal.kept_property import kept_property
from backbench.signal.mains import (
    clear_of_mains,
    is_confirmed,
    mains_frequency,
    mains_lines_at,
    other_frequencies,
    wrong_mains,
)
from backbench.signal.mains_places import LINES
from backbench.signal.power import MeanSquare
from backbench.signal.quiet_spectrum import quiet_spectrum
from backbench.signal.record_checks import check_record, refuse_gap
from backbench.signal.recorded_band import refuse_cut_band
from backbench.signal.spectrum import Spectrum
from backbench.signal.stretched_mains import possible_rates, stretched_mains
from backbench.signal.tone import BAND_HZ, EDGE, PASS_BAND
from backbench.signal.track import Array, Track
from backbench.signal.uncertainty import Contribution, combine
from backbench.signal.word_length import sample_step

FAMILY = "Noise and hum"

LEAST_MAINS_PERIODS = 16
CLEARLY = 3.0
OTHER_MAINS = (
    "the lines fit another mains frequency better than the stated one, and none tells for sure "
    "which it is; check mains_hz in [review]"
)
MOST_OF_STEPS = 0.3
"""Change of a line by steps that noise hardly blurs, relative, from which it is a bound."""


@dataclass(frozen=True, eq=False)
class IdleView(Stepped):
    """One output's track of an idle capture.

    noise: mean noise power by bin, V^2. loud: that the capture may not be idle. untold: that no
    tone shows its sample rate. stretched: that its hum tells of another than the file states.
    """

    capture_data: CaptureData
    track: Track
    spectrum: Spectrum
    noise: Array
    loud: str | None = None
    untold: str | None = None
    stretched: str | None = None

    @kept_property
    def remark(self) -> str | None:
        """Of the whole capture, where it may not be idle or its rate may not be as stated."""
        if self.stretched is not None:
            return warning(self.stretched)
        return joined(self.loud, self.untold) if self.other_rates else self.loud

    @kept_property
    def other_rates(self) -> list[int]:
        """Sample rates, Hz, that it may have had instead of the one that its file states."""
        return [] if self.untold is None else possible_rates(self.spectrum, self.noise)

    @kept_property
    def band(self) -> tuple[slice, Array]:
        """Bins of 20 Hz to 20 kHz and their power, V^2.

        Where the record is so short that the steady part reaches above 20 Hz, the noise
        beside it stands in.
        """
        chosen = self.spectrum.slice_of(*BAND_HZ)
        power = power_up_to(self.spectrum, self.noise, chosen, BAND_HZ[1])
        reached = self.spectrum.window.half_width + 1 - chosen.start
        if reached > 0:
            power = np.concatenate([self.noise[chosen][:reached], power[reached:]])
        return chosen, power

    def hum(self) -> list[tuple[int, float, MeanSquare]]:
        """Multiple of the mains, frequency as found in Hz, and mean square of lines 1 to 10.

        Raises NotApplicable where the mains frequency is unknown, Refusal of a record too short
        and where another mains frequency fits better.
        """
        nominal = self.capture_data.mains_hz
        if nominal is None:
            raise NotApplicable("the mains frequency was not stated")
        if nominal / self.spectrum.resolution_hz < LEAST_MAINS_PERIODS:
            raise Refusal(
                f"too short to tell mains lines apart: at least "
                f"{in_text(LEAST_MAINS_PERIODS / nominal, 's', 2)} are needed"
            )
        for why in (self._wrong_mains, self.stretched):
            if why is not None:
                raise Refusal(why)
        if self.lines_of_another and _greater(self.lines_of_another, [x for *_, x in self._lines]):
            raise Refusal(OTHER_MAINS)
        return self._lines

    @kept_property
    def blocks(self) -> Blocks:
        """Power by block of time and bin up to 20 kHz, and the width of a bin, Hz."""
        return block_powers(self.track, BAND_HZ[1])

    @kept_property
    def hiss_by_block(self) -> Array:
        """Median power of the bins of each block between 1 and 10 kHz; ratios alone mean much."""
        return middles_of(self.blocks, HISS_HZ)

    @kept_property
    def clear(self) -> Clear:
        """Where noise alone is between 20 Hz and 20 kHz."""
        chosen, power = self.band
        over = power / self.noise[chosen]
        return clear_of_lines(self.blocks, over, chosen.start, self.spectrum.resolution_hz)

    @kept_property
    def weights(self) -> Factors:
        """Of the band, by weighting."""
        (chosen, power), own, (blocks, block_hz) = self.band, self.spectrum, self.blocks
        lobe, width_hz = own.window.second_moment, own.resolution_hz
        return factors(chosen.start, len(power), width_hz, lobe, block_hz, blocks.shape[1])

    @kept_property
    def sums(self) -> list[BandSum]:
        """Of the band, by weighting."""
        (chosen, power), spread = self.band, self.spectrum.window.spread
        noise = self.noise[chosen]
        return band_sums(power, noise, self.weights, self.clear, self.blocks, spread)

    @kept_property
    def step_v(self) -> float:
        """Step that the samples use, V; 0 where there is none."""
        return sample_step(self.track)

    @kept_property
    def benches(self) -> list[IdleView]:
        """The bench's own, on the same track of each fit loop-back."""
        return loop_back_views(idle_view, self.capture_data, self.track)

    @kept_property
    def _wrong_mains(self) -> str | None:
        """Why the stated mains frequency can't be right, None where it may."""
        return wrong_mains(self.spectrum, self.noise, self.capture_data.mains_hz)

    @kept_property
    def _lines(self) -> list[tuple[int, float, MeanSquare]]:
        return self._lines_of(self.capture_data.mains_hz or 0.0)

    @kept_property
    def elsewhere(self) -> list[Elsewhere]:
        """Lines 1 to 10 wherever else the mains' may lie; by no known rate they show no mains."""
        mains_hz, rates = self.capture_data.mains_hz or 0.0, self.other_rates
        stretches, sure = [self.track.rate_hz / x for x in rates], not self.lines_of_another
        places = places_elsewhere(mains_hz, stretches, confirmed=sure and not rates)
        return [Elsewhere(why, [x for *_, x in self._lines_of(hz)]) for why, hz in places]

    @kept_property
    def lines_of_another(self) -> list[MeanSquare]:
        """Lines 1 to 10 of the mains frequency that may be the right one where the record shows
        none of the stated; empty where it shows one, or where none was stated."""
        nominal = self.capture_data.mains_hz
        if nominal is None or is_confirmed(self.spectrum, self.noise, nominal):
            return []
        # There is another one: without it the stated frequency counts as confirmed.
        return [square for _, _, square in self._lines_of(other_frequencies(nominal)[0])]

    def _lines_of(self, nominal_hz: float) -> list[tuple[int, float, MeanSquare]]:
        mains = mains_frequency(self.spectrum, self.noise, nominal_hz)
        multiples = range(1, LINES + 1)
        lines = mains_lines_at(self.spectrum, self.noise, [n * mains for n in multiples])
        return [(n, round(n * mains, 3), line) for n, line in zip(multiples, lines, strict=True)]

    @kept_property
    def behind_468(self) -> tuple[Array, float]:
        """The rectified waveform behind the network of BS.468, V, and its sample rate."""
        wave, rate_hz = weighted_468(self.track)
        return np.abs(wave, out=wave), rate_hz


def _greater(lines: list[MeanSquare], others: list[MeanSquare]) -> bool:
    """Whether lines together are surely more than others."""
    apart = sum(x.value for x in lines) - sum(x.value for x in others)
    return apart > CLEARLY * math.sqrt(sum(x.variance for x in [*lines, *others]))


@view("idle", version=17)
def idle_view(capture_data: CaptureData, number: int) -> Generator[None, None, IdleView]:
    """The noise in output track `number`. Raises Refusal where none can be measured."""
    track = capture_data.outputs[number]
    check_record(track)
    yield
    refuse_gap(track)
    yield
    if track.rate_hz * PASS_BAND * EDGE < BAND_HZ[1]:
        raise Refusal(
            f"a sample rate of {in_text(track.rate_hz, 'Hz', 6)} doesn't reach 20 kHz; "
            "record at 44.1 kHz or more"
        )
    untold = rate_untold(capture_data.witness, track.rate_hz)
    own_spectrum = quiet_spectrum(track)
    clear = clear_of_mains(own_spectrum, capture_data.mains_hz)
    yield
    noise = background(own_spectrum.power, clear, len(clear), curved=True)
    yield
    loud = loud_remark(refuse_played(own_spectrum, noise))
    refuse_cut_band(own_spectrum, sample_step(track))
    yield
    stretched = stretched_mains(own_spectrum, noise, capture_data.mains_hz)
    idle = IdleView(
        capture_data, track, own_spectrum, noise, loud=loud, untold=untold, stretched=stretched
    )
    yield
    refuse_gate(idle.hiss_by_block)
    return idle


def noise_figure(idle: IdleView, weighting: Weighting) -> MeasuredValue:
    """Rms of the band, weighted or not, with its uncertainty."""
    summed, spread = idle.sums[weighting], idle.spectrum.window.spread
    rms, known = summed.square.rms, rms_known_to(summed, spread)
    estimation = known.u * rms
    total = combine(
        [Contribution(estimation, known.dof), Contribution(rms * idle.track.calibration)]
    )
    return less_steps(idle, MeasuredValue(rms, total.u, estimation, total.dof), weighting)


def less_steps(
    idle: IdleView, reading: MeasuredValue, weighting: Weighting, reference: float = 1.0
) -> MeasuredValue:
    """An rms of the band, weighted or not, without what the steps of the samples make of it.

    reference: factor that the reading is lower by than the weighting's own.
    """
    own = idle.weights.of(weighting)
    return weighted_steps_off(idle, reading, idle.band[0], own, reference)


@metric(
    "noise",
    title="Residual noise",
    unit="V",
    better="lower",
    source="IEC 60268-3 (residual noise; band of AES17; from memory)",
    stimuli=["idle"],
    version=2,
    choice="rms, unweighted, 20 Hz to 20 kHz, hum included" + STEPS_CHOICE + CHOICE,
    traits=Traits(
        also_called=(
            "hum and noise",
            "noise",
            "residual hum and noise",
            "noise unweighted",
            "hum/noise",
        ),
        compared_at=AT_IDLE,
        position=20,
        on_request=True,
        bench_gain="volts",
        bench_noise="volts",
        captions=("idle-spectrum-of-a-unit",),
    ),
)
def noise(idle: IdleView) -> MeasuredValue:
    """Rms at the output with nothing playing, 20 Hz to 20 kHz."""
    return less_noise(idle, lambda view: noise_figure(view, Weighting.NONE))


@metric(
    "noise_a",
    title="Residual noise, A-weighted",
    unit="V",
    better="lower",
    source="IEC 60268-3 (residual noise); A weighting of IEC 61672-1:2013, Annex E",
    stimuli=["idle"],
    version=2,
    choice="rms, A-weighted, 20 Hz to 20 kHz, hum included" + STEPS_CHOICE + CHOICE,
    traits=Traits(
        also_called=(
            "noise a",
            "noise a-weighted",
            "noise a weighted",
            "a-weighted noise",
            "hum and noise a",
        ),
        compared_at=AT_IDLE,
        position=10,
        bench_gain="volts",
        bench_noise="volts",
        watched_at=AT_IDLE,
        overview=Overview("Residual noise, A-weighted", "idle"),
        captions=("idle-noise-of-technology",),
        listening="noise pressure",
    ),
)
def noise_a(idle: IdleView) -> MeasuredValue:
    """A-weighted rms at the output with nothing playing, 20 Hz to 20 kHz."""
    return less_noise(idle, lambda view: noise_figure(view, Weighting.A))


@metric(
    "mains_line",
    title="Mains hum line",
    unit="V",
    better="lower",
    source="common practice, no source: residual hum by line",
    stimuli=["idle"],
    version=4,
    choice="rms of multiples 1 to 10 of the mains frequency as found; noise taken off, an "
    "upper bound where noise alone gives as much once in 8000 times" + LINE_CHOICE,
)
def mains_lines(idle: IdleView) -> Iterator[MeasuredValue]:
    """Level of each multiple of the mains frequency from 1 to 10."""
    bench: dict[int, list[MeasuredValue]] = {}
    for own in idle.benches:
        with contextlib.suppress(Refusal):
            for multiple, _, square in own.hum():
                bench.setdefault(multiple, []).append(line_figure(square, own))
    for multiple, frequency_hz, square in idle.hum():
        figure = line_figure(square, idle, order=multiple, frequency_hz=frequency_hz)
        figure = bounded_elsewhere(figure, idle.elsewhere, itemgetter(multiple - 1))
        yield lines_off(figure, greatest_own(bench.get(multiple, [])))


def line_figure(square: MeanSquare, idle: IdleView, **kept: Any) -> MeasuredValue:
    """Rms of lines with nothing playing; a bound where noise may have made or lifted them."""
    if square.surely_stands_out:
        lines = rms_of_lines(square, idle.track, **kept)
    else:
        most = square.lifted_at_most
        lines = MeasuredValue(most, most * idle.track.calibration, bound="upper", **kept)
    error = idle.small_signal_error
    if not idle.is_dithered or error > MOST_OF_STEPS:
        return with_undithered_steps(lines, HALF_STEP * idle.step_v)
    if lines.bound is not None:
        return lines.but(value=lines.value / (1 - error))
    added = Contribution(lines.value * error / math.sqrt(2))
    own = combine([Contribution(lines.estimation, lines.dof), added])
    total = combine([Contribution(lines.uncertainty, lines.dof), added])
    return lines.but(uncertainty=total.u, estimation=own.u, dof=total.dof)


def rms_of_lines(square: MeanSquare, track: Track, **kept: Any) -> MeasuredValue:
    """Rms of lines with its uncertainty; an upper bound where they don't stand out."""
    if not square.stands_out:
        most = square.at_most
        return MeasuredValue(most, most * track.calibration, bound="upper", **kept)
    own = square.relative * square.rms
    total = combine(
        [Contribution(own, square.samples), Contribution(square.rms * track.calibration)]
    )
    return MeasuredValue(square.rms, total.u, own, total.dof, **kept)
