"""What is left of a tone that was erased."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from backbench.documents.stimuli import ErasedTone
from backbench.errors import Refusal
from backbench.metrics.declaration import CaptureData, MeasuredValue, metric, view
from backbench.quantities.writing import in_text
from backbench.signal.record_checks import check_record
from backbench.signal.rumble import LEAST_SEGMENTS, SEGMENT_S, band, weighted_noise
from backbench.signal.track import Track
from backbench.signal.uncertainty import Contribution, combine

FAMILY = "Tape and disc playback"

WITHIN = 0.03
"""Band about the tone, relative: what a machine's speed may be off."""
STANDS_OUT = 2.0


@dataclass(frozen=True, eq=False)
class ErasedView:
    """One track, and the frequency that was erased, Hz."""

    track: Track
    hz: float


@view("erased tone", version=1)
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
    own, *beside = (
        weighted_noise(
            seen.track.volts, seen.track.rate_hz, band(hz * (1 - WITHIN), hz * (1 + WITHIN))
        )
        for hz in (seen.hz, seen.hz / (1 + 3 * WITHIN), seen.hz * (1 + 3 * WITHIN))
    )
    noise = np.array([part.rms**2 for part in beside])
    left = own.rms**2 - float(noise.mean())
    u = math.sqrt((2 * own.rms * own.u) ** 2 + float(noise.std(ddof=1)) ** 2 / 2)
    if left <= STANDS_OUT * u:
        most = math.sqrt(max(left, 0.0) + STANDS_OUT * u)
        return MeasuredValue(most, most * seen.track.calibration, bound="upper")
    rms = math.sqrt(left)
    total = combine(
        [Contribution(u / (2 * rms), own.dof), Contribution(rms * seen.track.calibration)]
    )
    return MeasuredValue(rms, total.u, u / (2 * rms), total.dof)
