"""Phase and group delay of a response; phase and polarity between channels of a tone."""

from __future__ import annotations

import math

import numpy as np

from backbench.documents.stimuli import Tone
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declaration import CurveData, MeasuredValue, curve, metric
from backbench.metrics.response import RESPONSES
from backbench.metrics.response_view import REFERENCE_HZ, Angle, ResponseView
from backbench.metrics.tone import TONES, ToneView, angle_between
from backbench.metrics.tone_trace import ToneTrace
from backbench.metrics.traits import CurveTraits
from backbench.quantities.writing import in_text
from backbench.signal.tone_search import find_tone

FAMILY = "Frequency response and phase"

LEFT, RIGHT = "left", "right"
LEAST_COSINE = 0.5


def _angle(response: ResponseView) -> Angle:
    _ = response.level
    if response.phase is None:
        raise NotApplicable("the table has no phase")
    return response.phase


@curve(
    "phase",
    title="Phase (arrival of the sweep taken off)",
    x_unit="Hz",
    y_unit="deg",
    stimuli=RESPONSES,
    version=1,
    traits=CurveTraits(role="phase over frequency"),
)
def phase_curve(response: ResponseView) -> CurveData:
    """Phase of the output re the input against frequency, unwrapped, within a turn at 1 kHz."""
    angle, hz = _angle(response), response.level.hz
    degrees = np.degrees(angle.rad)
    at_reference = float(np.interp(math.log(REFERENCE_HZ), np.log(hz), degrees))
    degrees = degrees - 360 * round(at_reference / 360)
    return CurveData(hz, degrees, np.degrees(angle.u))


@curve(
    "group_delay",
    title="Group delay (arrival of the sweep taken off)",
    x_unit="Hz",
    y_unit="ms",
    stimuli=RESPONSES,
    version=1,
)
def group_delay_curve(response: ResponseView) -> CurveData:
    """Fall of phase with angular frequency, between neighbouring points."""
    angle, hz = _angle(response), response.level.hz
    width = 2 * np.pi * np.diff(hz)
    delay = -np.diff(angle.rad) / width
    u = np.hypot(angle.u[1:], angle.u[:-1]) / width
    return CurveData(np.sqrt(hz[1:] * hz[:-1]), 1e3 * delay, 1e3 * u)


def _between(tone: ToneView) -> tuple[float, float]:
    """Phase of the left output re the right one of the same record, rad, and its uncertainty.

    Raises NotApplicable for other outputs, Refusal where the right one holds no such tone.
    """
    lines, capture_data = tone.distorting(), tone.capture_data
    tracks = {name: n for n, name in capture_data.names.items()}
    if RIGHT not in tracks or capture_data.outputs.get(tracks.get(LEFT, 0)) is not tone.track:
        raise NotApplicable("given only for a left output recorded together with a right one")
    if capture_data.driven_track is not None:
        raise NotApplicable("only one of the outputs was driven")
    assert isinstance(capture_data.stimulus, Tone)
    other = capture_data.outputs[tracks[RIGHT]]
    if other.rate_hz != tone.track.rate_hz or len(other.volts) != len(tone.track.volts):
        raise Refusal("the two outputs don't share one record")
    other_lines = find_tone(other, capture_data.stimulus.tone_hz, capture_data.mains_hz)
    return angle_between(lines, other_lines)


@metric(
    "channel_phase",
    title="Phase between channels",
    unit="deg",
    better="nearer zero",
    source="common practice, no source",
    stimuli=["tone"],
    version=1,
    choice="left re right, of fundamentals in one record; the converter's own is not taken off",
)
def channel_phase(tone: ToneView) -> MeasuredValue:
    """Phase of the left output's fundamental re the right output's, both driven alike."""
    angle, u = _between(tone)
    own = math.degrees(u)
    return MeasuredValue(math.degrees(angle), own, own, detail={"against": RIGHT})


@metric(
    "channel_polarity",
    title="Polarity between channels",
    unit="1",
    better="neither",
    source="IEC 60268-3 (polarity)",
    stimuli=["tone"],
    version=1,
    choice="sign of the left fundamental against the right one, within 60 degrees",
)
def channel_polarity(tone: ToneView) -> MeasuredValue:
    """+1 where the left output moves with the right one, -1 where against it."""
    angle, _ = _between(tone)
    if abs(math.cos(angle)) < LEAST_COSINE:
        apart = in_text(round(math.degrees(angle)), "deg")
        raise Refusal(f"the outputs are {apart} apart: neither polarity")
    return MeasuredValue(math.copysign(1.0, math.cos(angle)), 0.0, detail={"against": RIGHT})


@metric(
    "gain_phase",
    title="Phase of the output re the generator",
    unit="deg",
    better="neither",
    source="common practice, no source",
    stimuli=TONES,
    version=1,
    choice="of fundamentals in one record; the converter's own difference between the two tracks "
    "is not taken off, and cancels between captures",
)
def gain_phase(tone: ToneView | ToneTrace) -> MeasuredValue:
    """Phase of the output's fundamental re the generator's, -180 to 180 degrees."""
    angle, u = map(math.degrees, tone.angle())
    return MeasuredValue(angle, u, u)


@metric(
    "sweep_arrival",
    title="Arrival of a sweep at the output",
    unit="s",
    better="neither",
    source="common practice, no source",
    stimuli=["sweep"],
    version=1,
    choice="after the generator's track in the same record, in whole samples; the phase curve has "
    "it taken off",
)
def sweep_arrival(response: ResponseView) -> MeasuredValue:
    """Delay of the output's impulse response after what the generator's track recorded."""
    _ = response.level
    if response.arrival_s is None:
        raise NotApplicable("the generator was not recorded beside the output")
    return MeasuredValue(response.arrival_s, 0.0)
