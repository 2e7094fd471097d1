"""Input impedance, from a tone with and without a resistor before the input."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from backbench.documents.stimuli import ToneThroughResistor
from backbench.errors import Refusal
from backbench.metrics.declaration import CaptureData, MeasuredValue, derived, metric, view
from backbench.metrics.reading_ratios import ratio_uncertainty
from backbench.metrics.session import (
    Derived,
    DerivedResult,
    Reading,
    RefusedDerivation,
    Session,
    distortion_of,
    limited,
)
from backbench.metrics.traits import AT_INPUT, Traits
from backbench.quantities.writing import in_text
from backbench.signal.tone import ToneLines
from backbench.signal.tone_search import find_tone
from backbench.signal.track import Track
from backbench.signal.uncertainty import ONE_SIDED, Contribution, combine

FAMILY = "Input impedance"

COVERAGE = 2.0
CUBIC = 3.0


@dataclass(frozen=True, eq=False)
class ThroughResistorView:
    """One output's track of a tone that went through a resistor before the input."""

    track: Track
    lines: ToneLines


@view("tone through a resistor", version=1)
def through_resistor(capture_data: CaptureData, number: int) -> ThroughResistorView:
    """The tone in output track `number`. Raises Refusal where there is none."""
    stimulus, track = capture_data.stimulus, capture_data.outputs[number]
    assert isinstance(stimulus, ToneThroughResistor)
    if capture_data.driven_track not in (None, number):
        raise Refusal("this output was not driven in this capture")
    lines = find_tone(track, stimulus.through_hz, capture_data.mains_hz)
    return ThroughResistorView(track, lines)


@metric(
    "level_through_resistor",
    title="Output level behind a resistor before the input",
    unit="V",
    better="neither",
    source="common practice, no source",
    stimuli=["tone through a resistor"],
    version=1,
    choice="rms of the fundamental alone",
    traits=Traits(set_by_reviewer=True, sheet="left out"),
)
def level_through_resistor(seen: ThroughResistorView) -> MeasuredValue:
    """Root mean square of the fundamental at the output, a resistor before the input."""
    square = seen.lines.fundamental
    own = square.relative * square.rms
    shared = Contribution(square.rms * seen.track.calibration)
    total = combine([Contribution(own, square.samples), shared])
    return MeasuredValue(square.rms, total.u, own, total.dof)


@derived(
    "input_impedance",
    title="Input impedance",
    unit="ohm",
    better="neither",
    source="IEC 60268-3 (input impedance by an added resistor; from memory)",
    version=2,
    choice="added resistor over the relative rise of the output without it, at the same generator "
    "level; taken as a resistance; the generator's own output resistance is in it; at least that "
    "of the least fall that could be told where none is seen; what the stage compresses there, "
    "up to three times its distortion, is in the uncertainty",
    traits=Traits(
        compared_at=AT_INPUT,
        position=55,
        point_family="input impedance",
        given_by="a tone of 1 kHz with and without a resistor before the input",
    ),
)
def input_impedance(session: Session) -> Iterator[DerivedResult]:
    """The resistance that an input presents to what drives it."""
    straight = [
        r for r in session.of("level", stimulus="tone", bound=None) if r.driven in (None, r.output)
    ]
    for behind in session.of("level_through_resistor"):
        if behind.generator_vrms is None:
            reason = "the generator's level isn't stated, so that no two captures are alike"
            yield RefusedDerivation(reason, behind, (behind,))
            continue
        alike = [r for r in straight if _settings(r) == _settings(behind)]
        if not alike:
            reason = "there is no tone at the same generator level without the resistor"
            yield RefusedDerivation(reason, behind, (behind,))
            continue
        yield _impedance(session, alike[0], behind)


def _settings(r: Reading) -> tuple[object, ...]:
    return (
        r.unit_key, r.output, r.frequency_hz, r.generator_vrms, r.input, r.volume, r.controls,
        r.tap, r.load_kind, r.load_ohm,
    )  # fmt: skip


def _impedance(session: Session, straight: Reading, behind: Reading) -> DerivedResult:
    sources = (straight, behind)
    reason = limited(session, straight)
    if reason:
        return RefusedDerivation(reason, behind, sources)
    rise = (straight.value or 0.0) / (behind.value or 1.0) - 1
    own, whole = ratio_uncertainty(straight, behind)
    level = (1 + rise) * whole
    # A cubic transfer takes three times its third harmonic's share off the fundamental.
    bent = CUBIC * distortion_of(session, straight) / 100 / math.sqrt(3)
    u, ohm = math.hypot(level, bent), behind.through_ohm or 0.0
    if rise < -COVERAGE * u:
        more = in_text(-100 * rise, "%", 2)
        reason = (
            f"the output is {more} higher with the resistor than without: the two captures were "
            "likely exchanged"
        )
        return RefusedDerivation(reason, behind, sources)
    if rise < COVERAGE * u:
        most = max(rise, 0.0) + ONE_SIDED * u
        return Derived(MeasuredValue(ohm / most, 0.0, bound="lower"), straight, sources)
    tolerance = (behind.resistor_percent or 0.0) / 100 / math.sqrt(3)
    figure = MeasuredValue(
        ohm / rise, ohm / rise * math.hypot(u / rise, tolerance), ohm / rise * own / rise
    )
    return Derived(figure, straight, sources)
