"""Speed of a tape or disc machine from the playback of a test tone."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from backbench.documents.stimuli import Transport
from backbench.metrics import least_asked
from backbench.metrics.declaration import CaptureData, MeasuredValue, metric, view
from backbench.metrics.session_spreads import SPEED
from backbench.metrics.traits import OF_A_SPEED_TONE, Traits
from backbench.quantities.writing import in_text
from backbench.signal.played_tone import PlayedTone, played_tone
from backbench.signal.record_checks import check_record
from backbench.signal.track import Track
from backbench.signal.transport_speed import WINDOW_S, Speed, speed_of

FAMILY = "Tape and disc speed"

_UNKNOWN = (
    "the test record's own error and the converter's clock are not known and not in the uncertainty"
)


@dataclass(frozen=True, eq=False)
class TransportView:
    """The test tone of one track, as it was stated and as it came."""

    stimulus: Transport
    track: Track
    tone: PlayedTone

    @property
    def stated_hz(self) -> float:
        """Frequency stated on the test record or tape, Hz."""
        return self.stimulus.transport_hz

    @cached_property
    def speed(self) -> Speed:
        """Frequency over time. Raises Refusal where the record is too short or the tone jumps."""
        return speed_of(self.track.volts, self.track.rate_hz, self.stated_hz)


@view("transport", version=3)
def transport(capture_data: CaptureData, number: int) -> TransportView:
    """The test tone of output track `number`."""
    stimulus, track = capture_data.stimulus, capture_data.outputs[number]
    assert isinstance(stimulus, Transport)
    check_record(track)
    tone = played_tone(track.volts, track.rate_hz, stimulus.transport_hz)
    return TransportView(stimulus, track, tone)


@metric(
    "speed_error",
    title="Speed error",
    unit="%",
    better="nearer zero",
    source="IEC 60386 and AES6 name the 3 150 Hz tone (from an abstract); definition from memory",
    stimuli=["transport"],
    version=2,
    choice=f"mean over the record, uncertain by how windows of {in_text(WINDOW_S, 's')} differ "
    f"and by what the record's ends cut off; "
    f"{_UNKNOWN}",
    traits=Traits(
        session_spread=SPEED, compared_at=OF_A_SPEED_TONE, position=200, only_with="transport",
        listening="pitch", asked=least_asked.SPEED,
    ),
)  # fmt: skip
def speed_error(seen: TransportView) -> MeasuredValue:
    """Deviation of the played frequency from that of the test record."""
    hz, u, dof = seen.speed.mean
    own = 100 * u / seen.stated_hz
    return MeasuredValue(100 * (hz / seen.stated_hz - 1), own, own, dof)


@metric(
    "speed_drift",
    title="Speed drift",
    unit="%",
    better="lower",
    source="common practice, no source",
    stimuli=["transport"],
    version=1,
    choice=f"greatest less least mean over {in_text(WINDOW_S, 's')} (whole turns at 33 1/3, 45 and "
    "78 a minute)",
    traits=Traits(compared_at=OF_A_SPEED_TONE, position=210, only_with="transport"),
)
def speed_drift(seen: TransportView) -> MeasuredValue:
    """How far the speed, averaged over whole turns, moves within the record."""
    span, u = seen.speed.range
    own = 100 * u / seen.stated_hz
    return MeasuredValue(100 * span / seen.stated_hz, own, own)
