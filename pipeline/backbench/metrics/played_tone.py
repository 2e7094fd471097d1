"""Level, distortion and channels' phase of a tone played from tape or disc."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from backbench.documents.stimuli import ToneOnMedium
from backbench.errors import NotApplicable, Refusal
from backbench.metrics import least_asked
from backbench.metrics.declaration import CaptureData, MeasuredValue, metric, view
from backbench.metrics.session_spreads import AZIMUTH_ANGLE
from backbench.metrics.traits import OF_A_PLAYED_TONE, Traits
from backbench.quantities.writing import in_text
from backbench.signal.along_tone import HarmonicsAlong, harmonics_along
from backbench.signal.played_tone import PlayedTone, played_tone
from backbench.signal.record_checks import check_record
from backbench.signal.track import Track
from backbench.signal.uncertainty import DB_PER_RELATIVE, ONE_SIDED, Contribution, combine

FAMILY = "Tape and disc playback"

HIGHEST = 5
BLOCK_S = 0.5
STANDS_OUT = 2.0
MOST_PHASE = 150.0
"""Degrees; half a turn either way is the same."""
_ALONG = (
    "measured along the tone's own phase, so that flutter spreads nothing; of the stretch without "
    "a drop-out; the distortion of the recording itself is part of it"
)


@dataclass(frozen=True, eq=False)
class PlayedToneView:
    """One track of a played tone.

    tone: as followed on this track, or on the driven one where this one isn't driven.
    first: the tone on the first output; None on that one.
    """

    stated: ToneOnMedium
    track: Track
    tone: PlayedTone
    first: PlayedTone | None
    is_driven: bool = True

    @property
    def stated_hz(self) -> float:
        """Frequency recorded, Hz."""
        return self.stated.played_tone_hz

    @property
    def reference(self) -> dict[str, str]:
        """The recorded level where it is stated, as a condition."""
        if self.stated.peak_velocity_cm_s is not None:
            return {"recorded": f"{in_text(self.stated.peak_velocity_cm_s, 'cm/s', 4)} peak"}
        if self.stated.flux_nwb_m is not None:
            return {"recorded": in_text(self.stated.flux_nwb_m, "nWb/m", 4)}
        return {}

    @cached_property
    def harmonics(self) -> HarmonicsAlong:
        """Harmonics 1 to 5. Raises Refusal where the record is too short."""
        _only_driven(self)
        found = harmonics_along(self.tone, self.track.volts, self.track.rate_hz, HIGHEST)
        if len(found.orders) < 3:
            raise Refusal("the sample rate doesn't hold the third harmonic")
        return found


def _only_driven(seen: PlayedToneView) -> None:
    if not seen.is_driven:
        raise NotApplicable("another output is driven")


@view("played tone", version=3)
def played(capture_data: CaptureData, number: int) -> PlayedToneView:
    """The tone of output track `number`."""
    stimulus, track = capture_data.stimulus, capture_data.outputs[number]
    assert isinstance(stimulus, ToneOnMedium)
    check_record(track)
    driven, first = capture_data.driven_track, min(capture_data.outputs)
    if driven is not None and driven != number:
        tone = _followed(stimulus, capture_data.outputs[driven])
        return PlayedToneView(stimulus, track, tone, None, is_driven=False)
    tone = _followed(stimulus, track)
    with_first = driven is None and number != first
    one = capture_data.outputs[first]
    other = _followed(stimulus, one, tone.carrier_hz) if with_first else None
    return PlayedToneView(stimulus, track, tone, other)


def _followed(stimulus: ToneOnMedium, track: Track, carrier_hz: float | None = None) -> PlayedTone:
    return played_tone(track.volts, track.rate_hz, stimulus.played_tone_hz, carrier_hz)


@metric(
    "played_level",
    title="Level of a played tone",
    unit="V",
    better="neither",
    source="common practice, no source",
    stimuli=["played tone"],
    version=1,
    choice="median over time, so that drop-outs hardly count; what was recorded is stated with it",
)
def played_level(seen: PlayedToneView) -> MeasuredValue:
    """Rms of the tone at the output."""
    _only_driven(seen)
    level, rate = seen.tone.level, seen.tone.rate_hz
    count = max(int(len(level) / (BLOCK_S * rate)), 1)
    blocks = level[: count * (len(level) // count)].reshape(count, -1).mean(axis=1)
    own = float(blocks.std(ddof=1) / math.sqrt(count)) if count > 1 else 0.01 * blocks[0]
    value = seen.tone.median_level
    total = combine(
        [Contribution(own, max(count - 1, 1)), Contribution(value * seen.track.calibration)]
    )
    return MeasuredValue(value, total.u, own, total.dof, detail=seen.reference)


@metric(
    "played_third_harmonic",
    title="Third harmonic of a played tone",
    unit="%",
    better="lower",
    source="IEC 60094 (third harmonic of a recorded reference level; from memory)",
    stimuli=["played tone"],
    version=1,
    choice="re the tone; " + _ALONG,
    traits=Traits(compared_at=OF_A_PLAYED_TONE, position=212, only_with="transport"),
)
def played_third_harmonic(seen: PlayedToneView) -> MeasuredValue:
    """Harmonic 3 over the tone."""
    found = seen.harmonics
    return _percent(float(found.amplitude[2]), float(found.u[2]), seen)


@metric(
    "played_thd",
    title="THD of a played tone",
    unit="%",
    better="lower",
    source="common practice, no source",
    stimuli=["played tone"],
    version=2,
    choice="harmonics 2 to 5, as far as the sample rate holds them, re the tone; " + _ALONG,
    traits=Traits(
        compared_at=OF_A_PLAYED_TONE, position=213, only_with="transport", on_request=True
    ),
)
def played_thd(seen: PlayedToneView) -> MeasuredValue:
    """Root sum square of harmonics 2 to 5 over the tone."""
    amplitude, u = seen.harmonics.amplitude[1:], seen.harmonics.u[1:]
    total = math.sqrt(float(np.square(amplitude).sum()))
    if total > 0:
        return _percent(total, math.sqrt(float(np.square(amplitude * u).sum())) / total, seen)
    return _percent(0.0, math.sqrt(float(np.square(u).sum())), seen)


def _percent(amplitude: float, u: float, seen: PlayedToneView) -> MeasuredValue:
    """A harmonic re the tone; an upper bound where noise may have made it."""
    tone = float(seen.harmonics.amplitude[0])
    dof = 2 * (seen.harmonics.segments - 1)
    if amplitude <= STANDS_OUT * u:
        most = 100 * (amplitude + ONE_SIDED * u) / tone
        return MeasuredValue(most, 0.0, bound="upper", detail=seen.reference)
    own = 100 * u / tone
    return MeasuredValue(100 * amplitude / tone, own, own, dof, detail=seen.reference)


@metric(
    "channel_lag",
    title="Phase of a channel behind the first",
    unit="deg",
    better="nearer zero",
    source="common practice, no source",
    stimuli=["played tone"],
    version=1,
    choice="at the tone's frequency, -180° to 180°, positive where it comes later",
    traits=Traits(has_sign=True),
)
def channel_lag(seen: PlayedToneView) -> Iterator[MeasuredValue]:
    """Phase by which a channel's tone is behind that of the first output."""
    if seen.first is None:
        return
    degrees, u, dof = _lag(seen.first, seen.tone)
    yield MeasuredValue(degrees, u, u, dof)


def _lag(first: PlayedTone, tone: PlayedTone) -> tuple[float, float, int]:
    """Phase of a tone behind the first in degrees, its uncertainty, degrees of freedom."""
    n = min(len(first.phasor), len(tone.phasor))
    apart = first.phasor[:n] * tone.phasor[:n].conj()
    count = max(int(n / (BLOCK_S * tone.rate_hz)), 2)
    blocks = apart[: count * (n // count)].reshape(count, -1).mean(axis=1)
    mean = blocks.mean()
    if abs(mean) < 0.5 * np.abs(apart).mean():
        raise Refusal("the phase between the channels doesn't hold still within the record")
    off = np.degrees(np.angle(blocks / mean))
    u = max(float(off.std(ddof=1) / math.sqrt(count)), 0.01)
    return float(np.degrees(np.angle(mean))), u, count - 1


@metric(
    "azimuth_angle",
    title="Azimuth between the tracks",
    unit="arcmin",
    better="nearer zero",
    source="common practice, no source",
    stimuli=["played tone"],
    version=1,
    choice="arc tangent of what the channel's delay is in length of tape over the distance of the "
    "tracks, both as stated; refused beyond 150° of the tone's phase, where whole turns could be "
    "missed; positive where the channel comes later",
    traits=Traits(has_sign=True, session_spread=AZIMUTH_ANGLE),
)
def azimuth_angle(seen: PlayedToneView) -> Iterator[MeasuredValue]:
    """Angle of the gap that makes a channel come later than the first."""
    speed, spacing = seen.stated.tape_speed_cm_s, seen.stated.track_spacing_mm
    if seen.first is None or speed is None or spacing is None:
        return
    degrees, u, dof = _lag(seen.first, seen.tone)
    if abs(degrees) > MOST_PHASE:
        raise Refusal("the channels are too far apart to tell at this frequency; take a lower one")
    slope = 10 * speed / (360 * seen.stated_hz * spacing)
    arcmin = 60 * math.degrees(math.atan(slope * degrees))
    own = 60 * math.degrees(slope * u)
    yield MeasuredValue(arcmin, own, own, dof)


@metric(
    "played_separation",
    title="Channel separation of a played tone",
    unit="dB",
    better="higher",
    source="IEC 60268-3 (crosstalk attenuation); definition from memory",
    stimuli=["played tone"],
    version=2,
    choice="a band with one channel recorded: the driven output over what is in phase with its "
    "tone on this one; a bound where that doesn't stand out",
    traits=Traits(
        compared_at=OF_A_PLAYED_TONE,
        position=218,
        only_with="transport",
        listening="place of one channel",
        asked=least_asked.SEPARATION,
    ),
)
def played_separation(seen: PlayedToneView) -> Iterator[MeasuredValue]:
    """Level of the driven channel's tone re what it leaves on this one."""
    if seen.is_driven:
        return
    found = harmonics_along(seen.tone, seen.track.volts, seen.track.rate_hz, 2)
    level, u = float(found.amplitude[0]) / math.sqrt(2), float(found.u[0]) / math.sqrt(2)
    driven = seen.tone.median_level
    shared = DB_PER_RELATIVE * seen.track.calibration * math.sqrt(2)
    if level <= STANDS_OUT * u:
        least = 20 * math.log10(driven / (level + ONE_SIDED * u))
        yield MeasuredValue(least, shared, bound="lower", detail=seen.reference)
        return
    own = DB_PER_RELATIVE * u / level
    value = 20 * math.log10(driven / level)
    yield MeasuredValue(value, math.hypot(own, shared), own, detail=seen.reference)


@metric(
    "played_balance",
    title="Channel balance of a played tone",
    unit="dB",
    better="nearer zero",
    source="IEC 60268-3 (channel balance); definition from memory",
    stimuli=["played tone"],
    version=1,
    choice="level of this output over that of the first; the recording's own balance is part of it",
    traits=Traits(
        compared_at=OF_A_PLAYED_TONE,
        position=219,
        only_with="transport",
        has_sign=True,
        listening="level difference",
        asked=least_asked.BALANCE,
    ),
)
def played_balance(seen: PlayedToneView) -> Iterator[MeasuredValue]:
    """Difference in level of a tone that both channels hold."""
    if seen.first is None:
        return
    n = min(len(seen.first.level), len(seen.tone.level))
    course = 20 * np.log10(seen.tone.level[:n] / seen.first.level[:n])
    count = max(int(n / (BLOCK_S * seen.tone.rate_hz)), 2)
    blocks = course[: count * (n // count)].reshape(count, -1).mean(axis=1)
    own = float(blocks.std(ddof=1) / math.sqrt(count))
    shared = DB_PER_RELATIVE * seen.track.calibration * math.sqrt(2)
    value = float(np.median(course))
    yield MeasuredValue(value, math.hypot(own, shared), own, detail=seen.reference)
