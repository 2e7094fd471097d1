"""Tape and disc machines of known faults: level, distortion, separation, rumble, response.

Closed forms unless a test says otherwise; what is independent is computed by scipy or numpy.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import (
    ErasedTone,
    SilentMedium,
    Stimulus,
    SweepOnMedium,
    ToneOnMedium,
)
from backbench.metrics.declaration import CaptureData, MeasuredValue
from backbench.metrics.findings import Finding
from backbench.metrics.measurement import measure
from backbench.metrics.medium_ratios import played_spot_response
from backbench.metrics.session import Derived, Reading, Session
from backbench.seed_dataset.machine import Machine
from backbench.signal.rumble import rumble_unweighted, rumble_weighted
from backbench.signal.track import Array, Track

MACHINE = Machine(rate_hz=12_000.0)


def findings(
    stimulus: Stimulus, *outputs: Array, driven: int | None = None, rate_hz: float = 12_000.0
) -> dict[tuple[str, int], Finding]:
    tracks = {n: Track(volts, rate_hz, 10.0, 0.003) for n, volts in enumerate(outputs, start=1)}
    taken = CaptureData(stimulus, Conditions(), tracks, driven_track=driven)
    return {(f.metric.name, f.track): f for f in measure(taken)[0]}


def figure(found: dict[tuple[str, int], Finding], name: str, track: int = 1) -> MeasuredValue:
    finding = found[name, track]
    assert finding.figure is not None, finding.reason
    return finding.figure


def holds(figure: MeasuredValue, truth: float, widths: float = 3.0) -> bool:
    return abs(figure.value - truth) <= widths * figure.uncertainty


TONE = ToneOnMedium(played_tone_hz=315.0, flux_nwb_m=250.0)


@pytest.mark.parametrize("third", [0.3, 3.0])
def test_distortion_along_a_tone_that_flutters(third: float) -> None:
    found = findings(TONE, MACHINE.tone(315.0, 6.0, 0.5, third_percent=third))
    harmonic = figure(found, "played_third_harmonic")
    assert harmonic.value == pytest.approx(third, rel=0.02)
    assert holds(harmonic, third)
    assert figure(found, "played_thd").value == pytest.approx(third, rel=0.03)
    level = figure(found, "played_level")
    assert holds(level, 0.5)
    assert level.detail == {"recorded": "250 nWb/m"}


def test_flutter_changes_no_harmonic() -> None:
    """A property: the same tone at a steady and at a wandering speed reads alike."""
    steady = Machine(rate_hz=12_000.0, wow_percent=0.0, flutter_percent=0.0)
    worse = Machine(rate_hz=12_000.0, wow_percent=1.0, flutter_percent=0.5)
    one, two = (
        figure(findings(TONE, m.tone(315.0, 5.0, third_percent=1.0)), "played_third_harmonic")
        for m in (steady, worse)
    )
    assert one.value == pytest.approx(two.value, rel=0.02)


def test_no_harmonic_is_a_bound() -> None:
    noisy = Machine(rate_hz=12_000.0, noise_v=5e-3)
    harmonic = figure(findings(TONE, noisy.tone(315.0, 4.0)), "played_third_harmonic")
    assert harmonic.bound == "upper"
    assert harmonic.value < 0.2


def test_balance_and_phase_of_two_channels() -> None:
    late = 40e-6
    left, right = MACHINE.tone(315.0, 4.0), MACHINE.tone(315.0, 4.0, 0.9, 1, late_s=late)
    found = findings(TONE, left, right)
    assert holds(figure(found, "played_balance", 2), 20 * math.log10(0.9))
    lag = figure(found, "channel_lag", 2)
    assert lag.value == pytest.approx(360 * 315 * late, abs=0.01)
    assert ("played_balance", 1) not in found


def test_azimuth_as_an_angle_where_speed_and_spacing_are_stated() -> None:
    """60 us at 4.76 cm/s are 2.856 um, over 0.9 mm: 10.9 minutes of arc."""
    stated = ToneOnMedium(played_tone_hz=1000.0, tape_speed_cm_s=4.76, track_spacing_mm=0.9)
    left, right = MACHINE.tone(1000.0, 4.0), MACHINE.tone(1000.0, 4.0, 1.0, 1, late_s=60e-6)
    angle = figure(findings(stated, left, right), "azimuth_angle", 2)
    wanted = 60 * math.degrees(math.atan(60e-6 * 47.6 / 0.9))
    assert angle.value == pytest.approx(wanted, rel=2e-3)
    assert holds(angle, wanted)
    far = MACHINE.tone(1000.0, 4.0, 1.0, 1, late_s=450e-6)
    assert "a lower one" in (findings(stated, left, far)["azimuth_angle", 2].reason or "")
    plain = ToneOnMedium(played_tone_hz=1000.0)
    assert ("azimuth_angle", 2) not in findings(plain, left, right)


def test_separation_of_a_band_with_one_channel() -> None:
    left = MACHINE.tone(315.0, 5.0)
    right = 0.02 * MACHINE.tone(315.0, 5.0) + MACHINE.noise(5.0, 1)
    found = findings(TONE, left, right, driven=1)
    assert holds(figure(found, "played_separation", 2), 20 * math.log10(50))
    assert found["played_level", 2].status == "not_applicable"
    silent = findings(TONE, left, Machine(rate_hz=12_000.0, noise_v=0.01).noise(5.0, 1), driven=1)
    assert figure(silent, "played_separation", 2).bound == "lower"


def test_rumble_of_a_line_and_of_noise() -> None:
    """A line by the curve's value there; noise behind scipy's filters of the stated slopes."""
    t = MACHINE.times(12.0)
    silent = SilentMedium(silent_medium="silent groove")
    line = 1e-3 * math.sqrt(2) * np.sin(2 * np.pi * 30 * t)
    found = findings(silent, line + 1e-9 * MACHINE.noise(12.0))
    hz = np.array([30.0])
    for name, curve in (
        ("rumble_voltage", rumble_unweighted), ("rumble_voltage_weighted", rumble_weighted)
    ):  # fmt: skip
        assert figure(found, name).value == pytest.approx(1e-3 * curve(hz)[0], rel=0.01), name
    noise = MACHINE.noise(12.0)
    low = butter(2, 315.0, fs=MACHINE.rate_hz, output="sos")
    high = butter(2, 315.0, "highpass", fs=MACHINE.rate_hz, output="sos")
    first = butter(1, 10.0, "highpass", fs=MACHINE.rate_hz, output="sos")
    found = findings(silent, noise)
    wanted = {
        "rumble_voltage": sosfilt(first, sosfilt(low, noise)).std(),
        "rumble_voltage_weighted": 2 * sosfilt(high, sosfilt(low, noise)).std(),
    }
    for name, value in wanted.items():
        assert figure(found, name).value == pytest.approx(value, rel=0.03), name
        assert holds(figure(found, name), float(value)), name


def test_noise_of_a_tape() -> None:
    machine = Machine(rate_hz=48_000.0, noise_v=1e-3)
    found = findings(SilentMedium(silent_medium="erased tape"), machine.noise(8.0), rate_hz=48e3)
    wanted = 1e-3 * math.sqrt(19_980 / 24_000)
    assert holds(figure(found, "medium_noise"), wanted)
    # White noise of 20 Hz to 20 kHz is 2.05 dB lower behind the A curve of IEC 61672-1.
    a_weighted = figure(found, "medium_noise_a")
    assert a_weighted.value == pytest.approx(wanted * 10 ** (-2.048 / 20), rel=0.02)
    low = findings(SilentMedium(silent_medium="erased tape"), MACHINE.noise(8.0))
    assert low["medium_noise", 1].status == "rejected"
    short = findings(SilentMedium(silent_medium="erased tape"), MACHINE.noise(3.0))
    assert "too short" in (short["rumble_voltage", 1].reason or "")


def test_what_erasing_leaves() -> None:
    left = findings(ErasedTone(erased_tone_hz=1000.0), MACHINE.tone(1000.0, 8.0, 1e-3))
    assert holds(figure(left, "erased_residual"), 1e-3)
    gone = findings(ErasedTone(erased_tone_hz=1000.0), MACHINE.noise(8.0))
    assert figure(gone, "erased_residual").bound == "upper"


def pole(hz: Array) -> Array:
    """A machine whose highs fall by one pole at 3 kHz, whose lows by one at 60 Hz."""
    return np.asarray(1 / np.sqrt(1 + (hz / 3000) ** 2) / np.sqrt(1 + (60 / hz) ** 2))


def test_response_of_a_machine_whose_speed_wanders() -> None:
    stimulus = SweepOnMedium(played_sweep_hz=[20.0, 5500.0], sweep_s=15.0)
    wandering = Machine(rate_hz=12_000.0, wow_percent=0.5, flutter_percent=0.2)
    found = findings(stimulus, wandering.sweep(20.0, 5500.0, 15.8, pole))
    # 3 dB below 1 kHz: the poles' own levels at 1 kHz are -0.458 dB and -0.016 dB.
    grid = np.geomspace(20, 5500, 200_000)
    db = 20 * np.log10(pole(grid) / pole(np.array([1000.0])))
    ends = [float(grid[(grid > 1000) & (db < -3)][0]), float(grid[(grid < 1000) & (db < -3)][-1])]
    limits = _limits(stimulus, wandering.sweep(20.0, 5500.0, 15.8, pole))
    assert limits["upper"].value == pytest.approx(ends[0], rel=0.03)
    assert limits["lower"].value == pytest.approx(ends[1], rel=0.05)
    for name, truth in zip(("upper", "lower"), ends, strict=True):
        assert holds(limits[name], truth), name
    assert found["arm_resonance", 1].status == "not_applicable"


def _limits(stimulus: Stimulus, volts: Array) -> dict[str, MeasuredValue]:
    taken = CaptureData(stimulus, Conditions(), {1: Track(volts, 12_000.0, 10.0, 0.003)})
    found = {f.metric.name: f.figure for f in measure(taken)[0] if f.figure}
    return {"lower": found["played_low_limit"], "upper": found["played_high_limit"]}


def test_resonance_of_arm_and_cartridge() -> None:
    """Second-order resonance of Q 2 at 9.5 Hz: its peak by numpy on a fine grid."""

    def arm(hz: Array) -> Array:
        x = hz / 9.5
        return np.asarray(x**2 / np.hypot(1 - x**2, x / 2.0))

    machine = Machine(rate_hz=2000.0)
    volts = machine.sweep(4.0, 30.0, 30.8, arm)
    stimulus = SweepOnMedium(played_sweep_hz=[4.0, 30.0], sweep_s=30.0)
    found = findings(stimulus, volts, rate_hz=2000.0)
    grid = np.geomspace(4, 30, 10_000)
    peak = float(grid[np.argmax(arm(grid))])
    assert figure(found, "arm_resonance").value == pytest.approx(peak, rel=0.06)
    height = 20 * math.log10(float(arm(grid).max() / arm(np.array([20.0]))[0]))
    assert figure(found, "arm_resonance_height").value == pytest.approx(height, abs=0.4)


def test_a_record_without_a_sweep_is_refused() -> None:
    stimulus = SweepOnMedium(played_sweep_hz=[20.0, 5000.0], sweep_s=10.0)
    found = findings(stimulus, MACHINE.noise(8.0))
    assert "no sweep" in (found["played_low_limit", 1].reason or "")


def level(hz: float, volts: float, recorded: str = "250 nWb/m") -> Reading:
    return Reading(
        key=f"{hz}", metric="played_level", unit_key="u", output="left", status="measured",
        value=volts, uncertainty=3e-3 * volts, estimation=1e-3 * volts, dof=9.0, bound=None,
        stimulus="played tone", frequency_hz=hz, detail={"recorded": recorded},
        calibration_key="a", analysis_key=f"{hz}",
    )  # fmt: skip


def test_response_by_tones_recorded_alike() -> None:
    tones = [level(315.0, 0.5), level(10_000.0, 0.25), level(40.0, 0.5), level(1e3, 1.0, "10 V")]
    given = list(played_spot_response.derive(Session(tones)))  # type: ignore[misc]
    values = {g.figure.frequency_hz: g.figure for g in given if isinstance(g, Derived)}
    assert set(values) == {10_000.0, 40.0}
    assert values[10_000.0].value == pytest.approx(-6.0206, abs=1e-4)
    # One calibration of both cancels: what the two records leave, in dB.
    assert values[40.0].uncertainty == pytest.approx(8.686 * math.sqrt(2) * 1e-3, rel=1e-3)
