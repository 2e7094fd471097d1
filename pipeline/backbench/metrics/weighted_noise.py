"""Residual noise behind the network of Rec. ITU-R BS.468-4, by three kinds of meter."""

from __future__ import annotations

import math

from backbench.errors import Refusal
from backbench.metrics.band_sums import Weighting
from backbench.metrics.bench_floor import CHOICE, less_noise
from backbench.metrics.declaration import MeasuredValue, metric
from backbench.metrics.noise import IdleView, less_steps, noise_figure
from backbench.metrics.sample_steps import STEPS_CHOICE
from backbench.quantities.writing import in_text
from backbench.signal.itu_468 import TWO_KHZ
from backbench.signal.quasi_peak import block_error, highest, needle_course, of_sine
from backbench.signal.uncertainty import Contribution, combine

FAMILY = "Noise and hum"

LEAST_QUASI_PEAK_S = 0.5
AVERAGE_OF_SINE = 2 * math.sqrt(2) / math.pi
"""Mean of a rectified sine of 1 V rms: an average-responding meter is marked by its inverse."""
_NETWORK = "network of Rec. ITU-R BS.468-4 (second-hand: a transcription and an open library)"
_STEPS = STEPS_CHOICE + CHOICE


def _read_off(idle: IdleView, value: float, own: float, dof: float) -> MeasuredValue:
    """A meter's reading, V, with the uncertainty that its needle's unrest leaves."""
    total = combine([Contribution(own, dof), Contribution(value * idle.track.calibration)])
    return MeasuredValue(value, total.u, own, total.dof)


def _like_rms(idle: IdleView, reading: MeasuredValue, reference: float) -> MeasuredValue:
    """A meter's reading without the steps' part, which is that of the rms of the same noise.

    reference: factor that the meter's reading is lower by than the network's own.
    """
    if not idle.is_dithered:
        return less_steps(idle, reading, Weighting.BS_468, reference)
    rms = MeasuredValue(idle.sums[Weighting.BS_468].square.rms, 0.0)
    left = less_steps(idle, rms, Weighting.BS_468)
    share = reading.value / rms.value
    total = combine(
        [Contribution(reading.uncertainty, reading.dof), Contribution(share * left.uncertainty)]
    )
    own = math.hypot(reading.estimation, share * left.uncertainty)
    return reading.but(value=share * left.value, uncertainty=total.u, estimation=own, dof=total.dof,
        bound=left.bound, remark=left.remark,
    )  # fmt: skip


@metric(
    "noise_468",
    title="Residual noise, BS.468 quasi-peak",
    unit="V",
    better="lower",
    source="Rec. ITU-R BS.468-4, clauses 1 and 2; " + _NETWORK,
    stimuli=["idle"],
    version=7,
    choice="quasi-peak, 1 kHz referenced, reads the rms of a sine; highest reading in the record, "
    "uncertain by how much the highest reading differs from one half second to the next; the "
    "network alone limits its band; hum included" + _STEPS,
)
def noise_468(idle: IdleView) -> MeasuredValue:
    """Highest quasi-peak reading behind the BS.468 weighting with nothing playing."""
    seconds = len(idle.track.volts) / idle.track.rate_hz
    if seconds < LEAST_QUASI_PEAK_S:
        raise Refusal(
            f"too short for a quasi-peak reading: {in_text(seconds, 's', 2)} where at least "
            f"{LEAST_QUASI_PEAK_S} s are needed"
        )
    return less_noise(idle, _quasi_peak)


def _quasi_peak(idle: IdleView) -> MeasuredValue:
    rectified, rate_hz = idle.behind_468
    value, own, dof = highest(*needle_course(rectified, rate_hz))
    per_volt = of_sine(round(rate_hz))
    reading = _read_off(idle, value / per_volt, own / per_volt, dof)
    return _like_rms(idle, reading, 1.0)


@metric(
    "noise_arm",
    title="Residual noise, CCIR/ARM",
    unit="V",
    better="lower",
    source="common practice, no source read: average-responding meter; " + _NETWORK,
    stimuli=["idle"],
    version=3,
    choice="2 kHz referenced (5.63 dB below the 1 kHz reference), average-responding, reads the "
    "rms of a sine; hum included" + _STEPS,
)
def noise_arm(idle: IdleView) -> MeasuredValue:
    """Average of the rectified noise behind the BS.468 network, 0 dB at 2 kHz."""
    return less_noise(idle, _average)


def _average(idle: IdleView) -> MeasuredValue:
    rectified, rate_hz = idle.behind_468
    per_volt = AVERAGE_OF_SINE * TWO_KHZ
    own, dof = block_error(rectified, rate_hz)
    reading = _read_off(idle, float(rectified.mean()) / per_volt, own / per_volt, dof)
    return _like_rms(idle, reading, TWO_KHZ)


@metric(
    "noise_ccir_rms",
    title="Residual noise, CCIR-RMS",
    unit="V",
    better="lower",
    source="AES17, 5.2.7 (second-hand: an open library's documentation); " + _NETWORK,
    stimuli=["idle"],
    version=2,
    choice="rms, 2 kHz referenced (-5.63 dB), 20 Hz to 20 kHz, hum included" + _STEPS,
)
def noise_ccir_rms(idle: IdleView) -> MeasuredValue:
    """Rms of the noise behind the BS.468 network, 0 dB at 2 kHz."""
    return less_noise(idle, _rms_at_2_khz)


def _rms_at_2_khz(idle: IdleView) -> MeasuredValue:
    figure = noise_figure(idle, Weighting.BS_468)
    return figure.but(value=figure.value / TWO_KHZ, uncertainty=figure.uncertainty / TWO_KHZ,
        estimation=figure.estimation / TWO_KHZ,
    )  # fmt: skip
