"""What a silent groove or an erased tape gives while it plays: rumble and noise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

from backbench.errors import Refusal
from backbench.metrics.declaration import CaptureData, MeasuredValue, metric, view
from backbench.quantities.writing import in_text
from backbench.signal.record_checks import check_record
from backbench.signal.rumble import (
    LEAST_SEGMENTS,
    SEGMENT_S,
    band,
    rumble_unweighted,
    rumble_weighted,
    weighted_noise,
)
from backbench.signal.tone import BAND_HZ
from backbench.signal.track import Array, Track
from backbench.signal.uncertainty import Contribution, combine
from backbench.signal.weighting import a_weighting

FAMILY = "Tape and disc playback"

LEAST_S = (LEAST_SEGMENTS + 1) / 2 * SEGMENT_S
RUMBLE = "the bench's and the amplifier's own noise is in it; record the medium stopped to compare"


@dataclass(frozen=True, eq=False)
class SilentView:
    """One track of a silent medium that plays."""

    track: Track

    @cached_property
    def reaches_20_khz(self) -> bool:
        return self.track.rate_hz >= 2 * BAND_HZ[1]


@view("silent medium", version=1)
def silent(capture_data: CaptureData, number: int) -> SilentView:
    """Output track `number`. Raises Refusal where the record is too short."""
    track = capture_data.outputs[number]
    check_record(track)
    seconds = len(track.volts) / track.rate_hz
    if seconds < LEAST_S:
        raise Refusal(
            f"too short: {in_text(seconds, 's')} where at least {in_text(LEAST_S, 's')} are needed"
        )
    return SilentView(track)


def _figure(seen: SilentView, weighting: Callable[[Array], Array]) -> MeasuredValue:
    found = weighted_noise(seen.track.volts, seen.track.rate_hz, weighting)
    total = combine(
        [Contribution(found.u, found.dof), Contribution(found.rms * seen.track.calibration)]
    )
    return MeasuredValue(found.rms, total.u, found.u, total.dof)


def _whole_band(seen: SilentView) -> None:
    if not seen.reaches_20_khz:
        raise Refusal(
            f"a sample rate of {in_text(seen.track.rate_hz, 'Hz', 6)} doesn't reach 20 kHz; "
            "record at 44.1 kHz or more"
        )


@metric(
    "rumble_voltage",
    title="Rumble voltage, unweighted",
    unit="V",
    better="lower",
    source="DIN 45539, IEC 60098 (unweighted rumble; corners from memory)",
    stimuli=["silent medium"],
    version=1,
    choice="rms behind 10 Hz (6 dB an octave) and 315 Hz (12 dB an octave); " + RUMBLE,
)
def rumble_voltage(seen: SilentView) -> MeasuredValue:
    """Rms of what a silent groove gives behind the unweighted curve of rumble."""
    return _figure(seen, rumble_unweighted)


@metric(
    "rumble_voltage_weighted",
    title="Rumble voltage, weighted",
    unit="V",
    better="lower",
    source="DIN 45539, IEC 60098 (weighted rumble; slopes from memory)",
    stimuli=["silent medium"],
    version=1,
    choice="rms behind a curve that is 1 at 315 Hz and falls by 12 dB an octave on both sides; "
    + RUMBLE,
)
def rumble_voltage_weighted(seen: SilentView) -> MeasuredValue:
    """Rms of what a silent groove gives behind the weighted curve of rumble."""
    return _figure(seen, rumble_weighted)


@metric(
    "medium_noise",
    title="Noise of a silent medium",
    unit="V",
    better="lower",
    source="common practice, no source",
    stimuli=["silent medium"],
    version=1,
    choice="rms, unweighted, 20 Hz to 20 kHz",
)
def medium_noise(seen: SilentView) -> MeasuredValue:
    """Rms of what a silent medium gives while it plays, 20 Hz to 20 kHz."""
    _whole_band(seen)
    return _figure(seen, band(*BAND_HZ))


@metric(
    "medium_noise_a",
    title="Noise of a silent medium, A-weighted",
    unit="V",
    better="lower",
    source="IEC 61672-1:2013, Annex E (A weighting; the quantity common practice)",
    stimuli=["silent medium"],
    version=1,
    choice="rms, A-weighted, 20 Hz to 20 kHz",
)
def medium_noise_a(seen: SilentView) -> MeasuredValue:
    """A-weighted rms of what a silent medium gives while it plays, 20 Hz to 20 kHz."""
    _whole_band(seen)
    flat = band(*BAND_HZ)
    return _figure(seen, lambda hz: flat(hz) * a_weighting(hz))
