"""A single tone: its view, and what its fundamental tells."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from backbench.documents.stimuli import Tone, generator_level
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.bench_levels import loop_back_views
from backbench.metrics.declaration import CaptureData, MeasuredValue, metric, view
from backbench.metrics.load_check import load_remark, refuse_load
from backbench.metrics.reduced_tone import REDUCED_TONES, ReducedTone
from backbench.metrics.response import ResponseView, gain_at_1_khz
from backbench.metrics.session_spreads import LEVELS
from backbench.metrics.tone_trace import ToneTrace
from backbench.metrics.traits import Traits
from backbench.metrics.warnings import joined, warning
from backbench.quantities.writing import in_text
from backbench.signal.kept_property import kept_property, kept_with_it
from backbench.signal.line_wavering import noise_density, wavering_outside
from backbench.signal.mains import wrong_mains
from backbench.signal.power import MeanSquare
from backbench.signal.record_checks import check_record
from backbench.signal.sidebands import Mirrored, mirrored_harmonics
from backbench.signal.steadiness import level_spread
from backbench.signal.tone import ToneLines
from backbench.signal.tone_course import tone_course
from backbench.signal.tone_position import TonePlace, tone_at
from backbench.signal.tone_search import (
    find_low_tone,
    find_tone,
    is_square_wave,
    power_near,
    spectrum_for,
)
from backbench.signal.track import Track
from backbench.signal.uncertainty import DB_PER_RELATIVE, Contribution, combine
from backbench.signal.word_length import sample_step

FAMILY = "Level and gain"

TONES = ["tone", "tone trace table"]
ALL_TONES = ["tone", *REDUCED_TONES]
LEAST_COSINE = 0.5
SWAPPED_DB = 20.0
"""No output leaks its signal to another with gain: common practice, no source."""
POWER_WARNED_DB, POWER_REFUSED_DB = 1.0, 2.0
"""A stated power is a target, set by hand: off by 1 dB it is remarked, by 2 dB a mistake. Common
practice, no source."""


@dataclass(frozen=True, eq=False)
class ToneView:
    """One output's track of a tone capture.

    lines: the tone as found; for an output that was not driven, at the frequency of the
        driven one. driven: whether this output was. square: mean square of the fundamental.
        loop_back: whether it tells another record's own bench.
    """

    capture_data: CaptureData
    track: Track
    lines: ToneLines
    driven: bool
    square: MeanSquare
    loop_back: bool = False

    @property
    def stated_hz(self) -> float:
        """The tone's frequency as stated, Hz; reasons name this one."""
        return _stated(self.capture_data)

    @property
    def level_v(self) -> float:
        """Rms of the fundamental, V."""
        return self.square.rms

    @kept_property
    def benches(self) -> list[ToneView]:
        """The bench's own on the same track, at every level that there is a fit loop-back of."""
        if not self.driven:
            return []
        every = loop_back_views(tone_view, self.capture_data, self.track)
        return [replace(one, loop_back=True) for one in every]

    @property
    def bench(self) -> ToneView | None:
        """The bench's own at the level nearest to this one; None where there is no loop-back."""
        return min(
            self.benches,
            key=lambda one: abs(math.log(one.level_v / self.level_v)),
            default=None,
        )

    @kept_property
    def mirrored(self) -> list[Mirrored]:
        """What stands where sampling mirrors harmonics above half the sample rate."""
        return mirrored_harmonics(self.lines)

    def distorting(self) -> ToneLines:
        """The lines of a driven output. Raises NotApplicable for one that wasn't driven."""
        if not self.driven:
            raise NotApplicable("this output was not driven in this capture")
        return self.lines

    def beside_mains(self) -> ToneLines:
        """As distorting. Raises Refusal where the record shows another mains frequency."""
        lines = self.distorting()
        if self._wrong_mains is not None:
            raise Refusal(self._wrong_mains)
        return lines

    def angle(self) -> tuple[float, float]:
        """Phase of the output re the generator's track, rad, and its standard uncertainty."""
        lines, generator = self.distorting(), self.capture_data.generator
        if generator is None:
            raise NotApplicable("no track recorded the generator")
        if generator.rate_hz != self.track.rate_hz or len(generator.volts) != len(self.track.volts):
            raise Refusal("output and generator don't share one record")
        source = find_tone(generator, self.stated_hz, self.capture_data.mains_hz)
        return angle_between(lines, source)

    @kept_property
    def _wrong_mains(self) -> str | None:
        """Why the stated mains frequency can't be right, None where it may."""
        lines = self.lines
        return wrong_mains(lines.spectrum, lines.noise, lines.mains_hz, lines.apart)


def angle_between(lines: ToneLines, other: ToneLines) -> tuple[float, float]:
    """Phase of one tone re another of the same record, rad, and its standard uncertainty."""
    # Read at the record's middle: a difference of the two frequencies doesn't matter there.
    angle = math.remainder(lines.phase - other.phase, 2 * math.pi)
    # Noise turns a line by as much as it changes its amplitude, relative.
    return angle, math.hypot(lines.fundamental.relative, other.fundamental.relative)


@view("tone", version=14)
def tone_view(capture_data: CaptureData, number: int) -> ToneView:
    """The tone in output track `number`. Raises Refusal where there is none to be measured."""
    track = capture_data.outputs[number]
    stated = _stated(capture_data)
    _refuse_swapped(capture_data, stated)
    if capture_data.driven_track in (None, number):
        if _played_low(capture_data):
            lines = find_low_tone(track, stated, capture_data.mains_hz)
            return ToneView(capture_data, track, lines, True, lines.selective)
        lines = find_tone(track, stated, capture_data.mains_hz)
        _refuse_power(capture_data, lines.fundamental)
        refuse_load(capture_data, number, stated, lines.fundamental)
        return ToneView(capture_data, track, lines, True, _with_drift(track, lines))
    lines = _undriven(capture_data, track, stated)
    return ToneView(capture_data, track, lines, False, lines.selective)


def _played_low(capture_data: CaptureData) -> bool:
    return isinstance(capture_data.stimulus, Tone) and capture_data.stimulus.may_lie_in_noise


def _with_drift(track: Track, lines: ToneLines) -> MeanSquare:
    """The fundamental, how its level and phase waver within the record in its variance."""
    square = lines.fundamental
    try:
        course = tone_course(track, lines)
    except ValueError:
        return square
    spread = float(level_spread(course)[0])
    outside = wavering_outside(course, lines.spectrum.window, lines.half, noise_density(lines))
    variance = (4 * spread**2 + outside**2) * square.value**2
    return square._replace(floor=square.floor + variance)


def _stated(capture_data: CaptureData) -> float:
    if not isinstance(capture_data.stimulus, Tone):
        raise ValueError(f"a view of a tone was asked of {capture_data.stimulus.kind}")
    return capture_data.stimulus.tone_hz


def _refuse_swapped(capture_data: CaptureData, stated: float) -> None:
    """Raise Refusal where an output that is stated to idle is far louder than the driven one."""
    driven = capture_data.outputs.get(capture_data.driven_track or 0)
    if driven is None:
        return
    own = power_near(driven, stated)
    for number, track in capture_data.outputs.items():
        other = power_near(track, stated)
        if number != capture_data.driven_track and other > 10 ** (SWAPPED_DB / 10) * own:
            louder = (
                f"{in_text(10 * math.log10(other / own), 'dB', 2)} louder"
                if own > 0
                else "the louder"
            )
            driven_name = capture_data.names.get(capture_data.driven_track or 0, "driven output")
            name = capture_data.names.get(number, f"track {number}")
            raise Refusal(
                f"tracks swapped? {name} is {louder} at {in_text(stated, 'Hz', 6)} "
                f"than {driven_name}, which is stated to be the one driven; "
                "check [tracks] and driven"
            )


def _power_off(capture_data: CaptureData, fundamental: MeanSquare) -> tuple[float, str] | None:
    """How far level and load are from the stated output power, dB, and both in words."""
    wanted, load = capture_data.conditions.power_w, capture_data.conditions.load_resistance
    if wanted is None or load is None:
        return None
    power = fundamental.value / load
    volts = math.sqrt(fundamental.value)
    off = 10 * math.log10(power / wanted)
    return off, (
        f"{in_text(wanted, 'W', 6)} is stated, but {in_text(volts, 'V', 4)} across "
        f"{in_text(load, 'ohm', 6)} is {in_text(power, 'W', 4)} ({in_text(off, 'dB', 2)}): "
        "check level, load, range and calibration"
    )


def _refuse_power(capture_data: CaptureData, fundamental: MeanSquare) -> None:
    """Raise Refusal where level and load contradict the stated output power."""
    off = _power_off(capture_data, fundamental)
    if off is not None and abs(off[0]) >= POWER_REFUSED_DB:
        raise Refusal(off[1])


@kept_with_it
def power_remark(tone: ToneView) -> str | None:
    """A warning where level and load differ from the stated power by more than a setting would, or
    where the load is another than stated, or where a square wave stands in the tone's place."""
    return joined(_square_remark(tone), _load_remark(tone), _set_power_remark(tone))


def _square_remark(tone: ToneView) -> str | None:
    if not (tone.driven and is_square_wave(tone.lines)):
        return None
    return warning(
        "a square wave, not a tone: its odd harmonics fall as 1/3, 1/5 and 1/7, so that its "
        "distortion is that of the wave: check what was played and which file this is"
    )


def _load_remark(tone: ToneView) -> str | None:
    if not tone.driven:
        return None
    number = next(n for n, track in tone.capture_data.outputs.items() if track is tone.track)
    return load_remark(tone.capture_data, number, tone.stated_hz, tone.square)


def _set_power_remark(tone: ToneView) -> str | None:
    off = _power_off(tone.capture_data, tone.square) if tone.driven else None
    if off is None or abs(off[0]) < POWER_WARNED_DB:
        return None
    return warning(off[1])


def _undriven(capture_data: CaptureData, track: Track, stated: float) -> ToneLines:
    """The lines of an undriven output, at the frequency that the driven one shows."""
    check_record(track)
    driven = capture_data.outputs.get(capture_data.driven_track or 0)
    if driven is None or driven.rate_hz != track.rate_hz:
        raise Refusal("the driven output is not among the tracks, so its frequency isn't known")
    source = find_tone(driven, stated, capture_data.mains_hz)
    own = spectrum_for(track, stated)
    position = source.frequency_hz / own.resolution_hz
    return tone_at(TonePlace(own, position, sample_step(track)), capture_data.mains_hz)


@metric(
    "level",
    title="Output level",
    unit="V",
    better="neither",
    source="IEC 60268-3 (output voltage)",
    stimuli=ALL_TONES,
    version=2,
    choice="rms of the fundamental alone",
    traits=Traits(set_by_reviewer=True, own_stimulus="voltage", sheet="left out"),
)
def level(tone: ToneView | ReducedTone) -> MeasuredValue:
    """Root mean square of the fundamental at the output."""
    if not isinstance(tone, ToneView):
        return tone.level()
    square = tone.square
    if not square.stands_out:
        most = square.at_most
        return MeasuredValue(most, most * tone.track.calibration, bound="upper")
    estimation = square.relative * square.rms
    total = combine(
        [
            Contribution(square.rms * tone.track.calibration),
            Contribution(estimation, square.samples),
        ]
    )
    return MeasuredValue(square.rms, total.u, estimation, total.dof, remark=power_remark(tone))


@metric(
    "output_power",
    title="Output power",
    unit="W",
    better="neither",
    source="IEC 60268-3 (output power)",
    stimuli=ALL_TONES,
    version=2,
    choice="of the fundamental, into the stated resistor",
    traits=Traits(set_by_reviewer=True, is_power=True, own_stimulus="power", sheet="left out"),
)
def output_power(tone: ToneView | ReducedTone) -> MeasuredValue:
    """Squared rms of the fundamental over the load's resistance."""
    if not isinstance(tone, ToneView):
        return tone.power()
    tone.distorting()
    load = tone.capture_data.conditions.load_resistance
    if load is None:
        raise NotApplicable("no resistor was connected as a load")
    power = tone.square.value / load
    estimation = 2 * tone.square.relative * power
    parts = [
        Contribution(estimation, tone.square.samples),
        Contribution(2 * tone.track.calibration * power),
        Contribution(tone.capture_data.load_uncertainty * power),
    ]
    total = combine(parts)
    return MeasuredValue(power, total.u, estimation, total.dof, remark=power_remark(tone))


@metric(
    "gain",
    title="Voltage gain",
    unit="dB",
    better="neither",
    source="IEC 60268-3 (voltage gain)",
    stimuli=[*ALL_TONES, "sweep", "response table"],
    version=2,
    choice="output over generator, as recorded or else as stated; of a sweep or a table at 1 kHz",
    traits=Traits(
        session_spread=LEVELS,
        also_called=("amplification",),
        compared_at=("gain-1khz",),
        position=50,
        point_family="gain at 1 kHz",
        bench_gain="decibels",
        watched_at=("gain-1khz",),
    ),
)
def gain(seen: ToneView | ReducedTone | ResponseView) -> MeasuredValue:
    """Level of the output over the level of the generator, at the load as stated."""
    if isinstance(seen, ResponseView):
        return gain_at_1_khz(seen)
    return _gain_of_tone(seen) if isinstance(seen, ToneView) else seen.gain()


def _gain_of_tone(tone: ToneView) -> MeasuredValue:
    tone.distorting()
    generator = tone.capture_data.generator
    if generator is not None:
        source = find_tone(
            generator, _stated(tone.capture_data), tone.capture_data.mains_hz
        ).fundamental
        given, own, bench = source.rms, source.relative, generator.calibration
    else:
        given = generator_level(tone.capture_data.stimulus) or 0.0
        own, bench = 0.0, tone.capture_data.generator_uncertainty
    if given <= 0:
        raise NotApplicable("the generator's level is unknown and was not recorded")
    # The two tracks were calibrated one by one, so their errors count as independent.
    estimation = DB_PER_RELATIVE * math.hypot(tone.square.relative, own)
    shared = DB_PER_RELATIVE * math.hypot(tone.track.calibration, bench)
    ratio = 20 * math.log10(tone.square.rms / given)
    total = combine([Contribution(estimation, tone.square.samples), Contribution(shared)])
    return MeasuredValue(ratio, total.u, estimation, total.dof)


@metric(
    "polarity",
    title="Polarity",
    unit="1",
    better="neither",
    source="IEC 60268-3 (polarity)",
    stimuli=TONES,
    version=1,
    choice="sign of the fundamental against the generator's, within 60 degrees",
    traits=Traits(sheet="left out"),
)
def polarity(tone: ToneView | ToneTrace) -> MeasuredValue:
    """+1 where the output moves with the generator, -1 where against it."""
    angle, _ = tone.angle()
    if abs(math.cos(angle)) < LEAST_COSINE:
        raise Refusal(
            f"the output is {in_text(math.degrees(angle), 'deg')} from the generator: neither "
            "polarity"
        )
    return MeasuredValue(math.copysign(1.0, math.cos(angle)), 0.0)
