"""A tuner's output under a modulated carrier: level, pilot and subcarrier, de-emphasis."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

from backbench.documents.stimuli import FmTone
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declaration import CaptureData, MeasuredValue, derived, metric, view
from backbench.metrics.reading_ratios import is_near, ratio_in_db
from backbench.metrics.session import Derived, DerivedResult, Reading, RefusedDerivation, Session
from backbench.metrics.traits import OF_AN_FM_TONE, Traits
from backbench.quantities.writing import in_text
from backbench.signal.narrow_line import narrow_line
from backbench.signal.played_tone import PlayedTone, played_tone
from backbench.signal.record_checks import check_record
from backbench.signal.rumble import LEAST_SEGMENTS, SEGMENT_S
from backbench.signal.track import Track
from backbench.signal.uncertainty import DB_PER_RELATIVE, Contribution, combine

FAMILY = "Tuner"

WITHIN = 0.005
"""Band about the pilot and its second multiple, relative."""
LEAST_S = (LEAST_SEGMENTS + 1) / 2 * SEGMENT_S
NEAR_1_KHZ = 0.05
STEADY_U = 1e-4
"""Of a level by a band's filter, relative."""
DEEMPHASIS = "de-emphasis"
_SOURCE = "IHF-T-200 / IEEE 185 (definitions from memory)"


@dataclass(frozen=True, eq=False)
class FmToneView:
    """One output under a modulated carrier."""

    stated: FmTone
    track: Track
    is_driven: bool

    @cached_property
    def tone(self) -> PlayedTone:
        """The tone. Raises Refusal where there is none."""
        return played_tone(self.track.volts, self.track.rate_hz, self.stated.fm_tone_hz)


@view("fm tone", version=2)
def fm_tone(capture_data: CaptureData, number: int) -> FmToneView:
    """Output track `number`. Raises Refusal where the record is too short."""
    stimulus, track = capture_data.stimulus, capture_data.outputs[number]
    assert isinstance(stimulus, FmTone)
    check_record(track)
    if len(track.volts) < LEAST_S * track.rate_hz:
        raise Refusal(f"too short: at least {in_text(LEAST_S, 's')} are needed")
    return FmToneView(stimulus, track, capture_data.driven_track in (None, number))


@metric(
    "fm_level",
    title="Audio level of a tuner",
    unit="V",
    better="neither",
    source="common practice, no source",
    stimuli=["fm tone"],
    version=1,
    choice="rms of the tone at the stated deviation (detail tells which)",
)
def fm_level(seen: FmToneView) -> MeasuredValue:
    """Rms of the tone at the output."""
    level, u = _level(seen)
    total = combine([Contribution(u), Contribution(level * seen.track.calibration)])
    return MeasuredValue(
        level, total.u, u, detail={"deviation": in_text(seen.stated.deviation_hz, "Hz", 4)}
    )


@metric(
    "fm_level_undone",
    title="Audio level of a tuner, its de-emphasis undone",
    unit="V",
    better="neither",
    source="common practice, no source",
    stimuli=["fm tone"],
    version=1,
    choice="rms of the tone times sqrt(1 + (2 pi f T)^2), T the stated de-emphasis",
)
def fm_level_undone(seen: FmToneView) -> Iterator[MeasuredValue]:
    """What the tone's level would be without the stated de-emphasis."""
    constant = seen.stated.deemphasis_s
    if constant is None:
        return
    level, u = _level(seen)
    factor = math.hypot(1.0, 2 * math.pi * seen.stated.fm_tone_hz * constant)
    detail = {
        DEEMPHASIS: in_text(constant, "s", 3),
        "deviation": in_text(seen.stated.deviation_hz, "Hz", 4),
    }
    yield MeasuredValue(
        factor * level, factor * math.hypot(u, level * seen.track.calibration), factor * u,
        detail=detail,
    )  # fmt: skip


def _level(seen: FmToneView) -> tuple[float, float]:
    """Median level and its uncertainty by the scatter over time, V."""
    if not seen.is_driven:
        raise NotApplicable("another output is modulated")
    tone = seen.tone
    own = float(tone.level.std()) / math.sqrt(max(tone.seconds / 0.5, 1.0))
    return tone.median_level, math.hypot(own, STEADY_U * tone.median_level)


@metric(
    "pilot_residue",
    title="Residue of the pilot",
    unit="dB",
    better="lower",
    source=_SOURCE,
    stimuli=["fm tone"],
    version=1,
    choice="rms within 0.5 % of the pilot's frequency re the tone at the stated deviation; an "
    "upper bound where it doesn't stand out of the noise beside it",
    traits=Traits(compared_at=OF_AN_FM_TONE, position=256, only_with="tuner", has_sign=True),
)
def pilot_residue(seen: FmToneView) -> MeasuredValue:
    """Level of the pilot at the output re the tone."""
    return _residue(seen, 1)


@metric(
    "subcarrier_residue",
    title="Residue of the subcarrier",
    unit="dB",
    better="lower",
    source=_SOURCE,
    stimuli=["fm tone"],
    version=1,
    choice="as that of the pilot, at twice its frequency",
    traits=Traits(compared_at=OF_AN_FM_TONE, position=257, only_with="tuner", has_sign=True),
)
def subcarrier_residue(seen: FmToneView) -> MeasuredValue:
    """Level of the subcarrier of the stereo difference at the output re the tone."""
    return _residue(seen, 2)


def _residue(seen: FmToneView, multiple: int) -> MeasuredValue:
    if seen.stated.pilot_hz is None:
        raise NotApplicable("no pilot was sent")
    level, own = _level(seen)
    hz = multiple * seen.stated.pilot_hz
    if hz * (1 + 4 * WITHIN) > 0.5 * seen.track.rate_hz:
        raise Refusal(
            f"a sample rate of {in_text(seen.track.rate_hz, 'Hz', 6)} doesn't reach "
            f"{in_text(hz, 'Hz', 6)}"
        )
    line = narrow_line(seen.track.volts, seen.track.rate_hz, hz, WITHIN)
    value = 20 * math.log10(line.rms / level)
    detail = {"deviation": in_text(seen.stated.deviation_hz, "Hz", 4)}
    if not line.stands_out:
        return MeasuredValue(value, 0.0, bound="upper", detail=detail)
    u = DB_PER_RELATIVE * math.hypot(line.u / line.rms, own / level)
    return MeasuredValue(value, u, u, line.dof, detail=detail)


@derived(
    "deemphasis_error",
    title="De-emphasis error",
    unit="dB",
    better="nearer zero",
    source=_SOURCE,
    version=1,
    choice="level re that at 1 kHz, the stated de-emphasis undone, of tones of one deviation from "
    "a generator without pre-emphasis (detail tells which)",
    traits=Traits(
        compared_at=OF_AN_FM_TONE, position=258, only_with="tuner", usual_stimulus="fm tone",
        has_sign=True, given_by="tones of several frequencies at one deviation, with deemphasis_s",
    ),
)  # fmt: skip
def deemphasis_error(session: Session) -> Iterator[DerivedResult]:
    """How far a tone's level is from the stated de-emphasis, re 1 kHz."""
    for tone in session.of("fm_level_undone"):
        if _near_1_khz(tone):
            continue
        same = [
            other for other in session.of(
                "fm_level_undone", unit_key=tone.unit_key, output=tone.output, input=tone.input,
                volume=tone.volume, controls=tone.controls, detail=tone.detail,
            ) if _near_1_khz(other)
        ]  # fmt: skip
        if not same:
            yield RefusedDerivation(
                "no tone of 1 kHz of the same deviation and de-emphasis", tone, (tone,),
                detail=tone.detail, frequency_hz=tone.frequency_hz,
            )  # fmt: skip
            continue
        yield _error(tone, same[0])


def _near_1_khz(reading: Reading) -> bool:
    return is_near(reading, 1000.0, NEAR_1_KHZ)


def _error(tone: Reading, reference: Reading) -> Derived:
    ratio = ratio_in_db(tone, reference)
    figure = replace(ratio, frequency_hz=tone.frequency_hz, detail=tone.detail)
    return Derived(figure, tone, (tone, reference))
