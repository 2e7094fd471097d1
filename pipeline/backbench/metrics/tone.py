"""A single tone: its view, and what its fundamental tells."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declare import Figure, Material, metric, view
from backbench.metrics.response import ResponseView, gain_at_1_khz
from backbench.signal.background import degrees_of_freedom
from backbench.signal.beside import Mirrored, mirrored_harmonics
from backbench.signal.find_tone import find_tone, power_near, spectrum_for
from backbench.signal.power import Square
from backbench.signal.soundness import check_record
from backbench.signal.tone import ToneLines, tone_at
from backbench.signal.track import Track
from backbench.signal.uncertainty import DB_PER_RELATIVE, Part, combine
from backbench.stimuli import Tone, generator_level

LEAST_COSINE = 0.5
SWAPPED_DB = 20.0
"""No output leaks its signal to another with gain: common practice, no source."""
POWER_FACTOR = 2.0
"""A stated power is a target, set by hand: off by 3 dB it is a mistake. Common practice."""


@dataclass(frozen=True, eq=False)
class ToneView:
    """One output's track of a tone capture.

    lines: the tone as found; for an output that was not driven, at the frequency of the
        driven one. driven: whether this output was. square: mean square of the fundamental.
    """

    material: Material
    track: Track
    lines: ToneLines
    driven: bool
    square: Square

    @property
    def stated_hz(self) -> float:
        """The tone's frequency as stated, Hz; reasons name this one."""
        return _stated(self.material)

    @cached_property
    def bench(self) -> ToneView | None:
        """The bench's own, on the same track of its loop-back; None where it holds no tone."""
        given = self.material.bench
        number = next(n for n, track in self.material.outputs.items() if track is self.track)
        if given is None or number not in given.outputs or not self.driven:
            return None
        try:
            found: ToneView = tone_view.build(given, number)
        except Refusal:
            return None
        return found

    @cached_property
    def mirrored(self) -> list[Mirrored]:
        """What stands where sampling mirrors harmonics above half the sample rate."""
        return mirrored_harmonics(self.lines)

    def distorting(self) -> ToneLines:
        """The lines of a driven output. Raises NotApplicable for one that wasn't driven."""
        if not self.driven:
            raise NotApplicable("this output was not driven in this capture")
        return self.lines


@view("tone", version=1)
def tone_view(material: Material, number: int) -> ToneView:
    """The tone in output track `number`. Raises Refusal where there is none to be measured."""
    track = material.outputs[number]
    stated = _stated(material)
    _refuse_swapped(material, stated)
    if material.driven_track in (None, number):
        lines = find_tone(track, stated, material.mains_hz)
        _refuse_power(material, lines.fundamental)
        return ToneView(material, track, lines, True, lines.fundamental)
    lines = _undriven(material, track, stated)
    return ToneView(material, track, lines, False, lines.selective)


def _stated(material: Material) -> float:
    if not isinstance(material.stimulus, Tone):
        raise ValueError(f"a view of a tone was asked of {material.stimulus.kind}")
    return material.stimulus.tone_hz


def _refuse_swapped(material: Material, stated: float) -> None:
    """Raise Refusal where an output that is stated to idle is far louder than the driven one."""
    driven = material.outputs.get(material.driven_track or 0)
    if driven is None:
        return
    own = power_near(driven, stated)
    for number, track in material.outputs.items():
        other = power_near(track, stated)
        if number != material.driven_track and other > 10 ** (SWAPPED_DB / 10) * own:
            louder = f"{10 * math.log10(other / own):.0f} dB louder" if own > 0 else "the louder"
            driven_name = material.names.get(material.driven_track or 0, "driven output")
            name = material.names.get(number, f"track {number}")
            raise Refusal(
                f"tracks swapped? {name} is {louder} at {stated:g} Hz than {driven_name}, which "
                "is stated to be the one driven; check [tracks] and driven"
            )


def _refuse_power(material: Material, fundamental: Square) -> None:
    """Raise Refusal where level and load contradict the stated output power."""
    wanted, load = material.conditions.power_w, material.conditions.load_resistance
    if wanted is None or load is None:
        return
    found = fundamental.value / load
    if not 1 / POWER_FACTOR <= found / wanted <= POWER_FACTOR:
        raise Refusal(
            f"{wanted:g} W is stated, but {math.sqrt(fundamental.value):.4g} V across {load:g} ohm "
            f"is {found:.4g} W; check level, load, range and calibration"
        )


def _undriven(material: Material, track: Track, stated: float) -> ToneLines:
    """The lines of an undriven output, at the frequency that the driven one shows."""
    check_record(track)
    driven = material.outputs.get(material.driven_track or 0)
    if driven is None or driven.rate_hz != track.rate_hz:
        raise Refusal("the driven output is not among the tracks, so its frequency isn't known")
    source = find_tone(driven, stated, material.mains_hz)
    own = spectrum_for(track, stated)
    return tone_at(own, source.frequency_hz / own.resolution_hz, material.mains_hz)


@metric(
    "level",
    title="Output level",
    unit="V",
    better="neither",
    source="IEC 60268-3 (output voltage)",
    stimuli=["tone"],
    version=1,
    choice="rms of the fundamental alone",
)
def level(tone: ToneView) -> Figure:
    """Root mean square of the fundamental at the output."""
    square = tone.square
    if not square.stands_out:
        most = square.at_most
        return Figure(most, most * tone.track.calibration, bound="upper")
    estimation = square.relative * square.rms
    total = combine([Part(square.rms * tone.track.calibration), Part(estimation, square.samples)])
    return Figure(square.rms, total.u, estimation, total.dof)


@metric(
    "output_power",
    title="Output power",
    unit="W",
    better="neither",
    source="IEC 60268-3 (output power)",
    stimuli=["tone"],
    version=1,
    choice="of the fundamental, into the stated resistor",
)
def output_power(tone: ToneView) -> Figure:
    """Squared rms of the fundamental over the load's resistance."""
    tone.distorting()
    load = tone.material.conditions.load_resistance
    if load is None:
        raise NotApplicable("no resistor was connected as a load")
    power = tone.square.value / load
    estimation = 2 * tone.square.relative * power
    parts = [
        Part(estimation, tone.square.samples),
        Part(2 * tone.track.calibration * power),
        Part(tone.material.load_uncertainty * power),
    ]
    total = combine(parts)
    return Figure(power, total.u, estimation, total.dof)


@metric(
    "gain",
    title="Voltage gain",
    unit="dB",
    better="neither",
    source="IEC 60268-3 (voltage gain)",
    stimuli=["tone", "sweep"],
    version=1,
    choice="output over generator, as recorded or else as stated; of a sweep at 1 kHz",
)
def gain(seen: ToneView | ResponseView) -> Figure:
    """Level of the output over the level of the generator, at the load as stated."""
    return gain_at_1_khz(seen) if isinstance(seen, ResponseView) else _gain_of_tone(seen)


def _gain_of_tone(tone: ToneView) -> Figure:
    tone.distorting()
    generator = tone.material.generator
    if generator is not None:
        source = find_tone(generator, _stated(tone.material), tone.material.mains_hz).fundamental
        given, own, bench = source.rms, source.relative, generator.calibration
    else:
        given = generator_level(tone.material.stimulus) or 0.0
        own, bench = 0.0, tone.material.generator_uncertainty
    if given <= 0:
        raise NotApplicable("the generator's level is unknown and was not recorded")
    # The two tracks were calibrated one by one, so their errors count as independent.
    estimation = DB_PER_RELATIVE * math.hypot(tone.square.relative, own)
    shared = DB_PER_RELATIVE * math.hypot(tone.track.calibration, bench)
    ratio = 20 * math.log10(tone.square.rms / given)
    total = combine([Part(estimation, tone.square.samples), Part(shared)])
    return Figure(ratio, total.u, estimation, total.dof)


@metric(
    "polarity",
    title="Polarity",
    unit="1",
    better="neither",
    source="IEC 60268-3 (polarity)",
    stimuli=["tone"],
    version=1,
    choice="sign of the fundamental against the generator's, within 60 degrees",
)
def polarity(tone: ToneView) -> Figure:
    """+1 where the output moves with the generator, -1 where against it."""
    lines, generator = tone.distorting(), tone.material.generator
    if generator is None:
        raise NotApplicable("no track recorded the generator")
    source = find_tone(generator, _stated(tone.material), tone.material.mains_hz)
    angle = lines.phase - source.phase
    if abs(math.cos(angle)) < LEAST_COSINE:
        degrees = math.degrees(math.remainder(angle, 2 * math.pi))
        raise Refusal(f"the output is {degrees:.0f} degrees from the generator: neither polarity")
    return Figure(math.copysign(1.0, math.cos(angle)), 0.0)


@metric(
    "dc_offset",
    title="DC at the output",
    unit="V",
    better="nearer zero",
    source="IEC 60268-3 (d.c. output voltage); none names this reading from a tone",
    stimuli=["tone"],
    version=1,
    choice="mean of the record; nothing where the bench couples through a capacitor",
)
def dc_offset(tone: ToneView) -> Figure:
    """Steady voltage at the output while the tone plays."""
    own = tone.lines.spectrum
    near = float(tone.lines.noise[0])
    estimation = math.sqrt(near * own.window.enbw / 2)
    total = combine(
        [
            Part(estimation, degrees_of_freedom(0, own.window.spread)),
            Part(tone.track.calibration * abs(own.mean)),
        ]
    )
    return Figure(own.mean, total.u, estimation, total.dof)
