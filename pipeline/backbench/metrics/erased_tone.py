"""What is left of a tone that was erased."""

from __future__ import annotations

from dataclasses import dataclass

from backbench.documents.stimuli import ErasedTone
from backbench.errors import Refusal
from backbench.metrics.declaration import CaptureData, MeasuredValue, metric, view
from backbench.quantities.writing import in_text
from backbench.signal.narrow_line import narrow_line
from backbench.signal.record_checks import check_record
from backbench.signal.rumble import LEAST_SEGMENTS, SEGMENT_S
from backbench.signal.track import Track
from backbench.signal.uncertainty import Contribution, combine

FAMILY = "Tape and disc playback"

WITHIN = 0.03
"""Band about the tone, relative: what a machine's speed may be off."""


@dataclass(frozen=True, eq=False)
class ErasedView:
    """One track, and the frequency that was erased, Hz."""

    track: Track
    hz: float


@view("erased tone", version=2)
def erased(capture_data: CaptureData, number: int) -> ErasedView:
    """Output track `number`. Raises Refusal where the record is too short."""
    stimulus, track = capture_data.stimulus, capture_data.outputs[number]
    assert isinstance(stimulus, ErasedTone)
    check_record(track)
    least = (LEAST_SEGMENTS + 1) / 2 * SEGMENT_S
    if len(track.volts) < least * track.rate_hz:
        raise Refusal(f"too short: at least {in_text(least, 's')} are needed")
    return ErasedView(track, stimulus.erased_tone_hz)


@metric(
    "erased_residual",
    title="What is left of an erased tone",
    unit="V",
    better="lower",
    source="IEC 60094 (erasure, by a selective voltmeter; from memory)",
    stimuli=["erased tone"],
    version=1,
    choice="rms within 3 % of the frequency, less the noise of bands as wide on both sides; an "
    "upper bound where it doesn't stand out of that",
)
def erased_residual(seen: ErasedView) -> MeasuredValue:
    """Rms of what is left of an erased tone."""
    line = narrow_line(seen.track.volts, seen.track.rate_hz, seen.hz, WITHIN)
    shared = line.rms * seen.track.calibration
    if not line.stands_out:
        return MeasuredValue(line.rms, shared, bound="upper")
    total = combine([Contribution(line.u, line.dof), Contribution(shared)])
    return MeasuredValue(line.rms, total.u, line.u, total.dof)
