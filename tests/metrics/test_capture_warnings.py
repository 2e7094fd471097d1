"""What else a capture shows: lines above the band, DC, copied tracks, a power stated wrongly."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backbench.documents.manifest import Conditions
from backbench.metrics.recorder_rate import HEADER_ALONE
from tones import figures, idle_material, reasons, sines, tone_material, track

RATE = 96_000.0


def noise(seed: int = 1, rms: float = 1e-5) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, rms, int(RATE))


@pytest.mark.parametrize("hz", [23_456.0, 31_000.5, 42_000.0])
def test_an_oscillation_is_read_at_idle_and_beside_a_tone(hz: float) -> None:
    line = noise() + sines(RATE, 1.0, {hz: 0.05})
    idle = figures(idle_material(track(line, RATE)))["ultrasonic_line"]
    tone = figures(tone_material(track(line + sines(RATE, 1.0, {997.0: 3.0}), RATE), hz=997.0))
    for result in (idle, tone["ultrasonic_line"]):
        assert result.value == pytest.approx(0.05 / math.sqrt(2), rel=1e-3)
        assert result.bound is None
        assert "may oscillate" in (result.remark or "")
        assert f"{hz / 1000:.4g} kHz" in (result.remark or "")


def test_without_a_line_the_reading_is_a_bound() -> None:
    for seed in range(10):
        result = figures(idle_material(track(noise(seed), RATE)))["ultrasonic_line"]
        assert result.bound == "upper"
        assert result.value < 1e-6
        assert result.remark == HEADER_ALONE


def test_harmonics_of_the_tone_are_no_oscillation() -> None:
    peaks = {997.0 * n: 3.0 / n**2 for n in range(1, 43)}
    result = figures(tone_material(track(noise() + sines(RATE, 1.0, peaks), RATE), hz=997.0))
    assert result["ultrasonic_line"].bound == "upper"


def test_a_record_without_room_above_the_band_has_none() -> None:
    slow = track(np.random.default_rng(1).normal(0, 1e-5, 44_100), 44_100.0)
    assert reasons(idle_material(slow))["ultrasonic_line"][0] == "not_applicable"


@pytest.mark.parametrize(("volts", "ohm", "warned"), [
    (0.15, 8.0, True), (-0.15, 4.0, True), (0.05, 8.0, False), (0.15, 10_000.0, False),
])  # fmt: skip
def test_direct_voltage_at_a_loudspeaker_output_is_warned_of(
    volts: float, ohm: float, warned: bool
) -> None:
    meant = Conditions(load_ohm=ohm)
    tone = tone_material(
        track(noise() + volts + sines(RATE, 1.0, {997.0: 3.0}), RATE), hz=997.0, conditions=meant
    )
    for capture in (idle_material(track(noise() + volts, RATE), conditions=meant), tone):
        result = figures(capture)["dc_offset"]
        assert result.value == pytest.approx(volts, abs=1e-5)
        assert ("connect no loudspeaker" in (result.remark or "")) == warned


@pytest.mark.parametrize(("sign", "what"), [(1.0, "bit-identical"), (-1.0, "exact opposition")])
def test_a_copied_track_counts_as_no_other_output(sign: float, what: str) -> None:
    one = noise() + sines(RATE, 1.0, {997.0: 3.0})
    other = track(sign * 1.1 * one, RATE, full_scale_v=11.0)
    capture = tone_material(track(one, RATE), other, hz=997.0)
    for number in (1, 2):
        assert not figures(capture, number)
        assert what in reasons(capture, number)["level"][1]


def test_two_records_of_one_signal_are_no_copies() -> None:
    tone = sines(RATE, 1.0, {997.0: 3.0})
    capture = tone_material(track(noise(1) + tone, RATE), track(noise(2) + tone, RATE), hz=997.0)
    assert {"level", "thd_n"} <= set(figures(capture, 2))


@pytest.mark.parametrize(("off_db", "outcome"), [
    (0.8, "plain"), (-0.8, "plain"), (1.2, "warned"), (-1.8, "warned"), (2.2, "refused"),
    (-3.0, "refused"),
])  # fmt: skip
def test_a_stated_power_is_held_against_level_and_load(off_db: float, outcome: str) -> None:
    meant = Conditions(load_ohm=8.0, power_w=1.0)
    volts = math.sqrt(2 * 8 * 10 ** (off_db / 10))
    capture = tone_material(
        track(noise() + sines(RATE, 1.0, {997.0: volts}), RATE), hz=997.0, conditions=meant
    )
    if outcome == "refused":
        assert "1 W is stated" in reasons(capture)["output_power"][1]
        return
    remark = figures(capture)["output_power"].remark or ""
    assert ("1 W is stated" in remark) == (outcome == "warned")


def test_a_square_wave_in_place_of_a_tone_is_warned_of() -> None:
    odd = range(1, 20, 2)
    wave = track(sines(48_000.0, 1.0, {1000.0 * n: 1 / n for n in odd}))
    assert "a square wave, not a tone" in str(figures(tone_material(wave))["level"].remark)
    pure = track(sines(48_000.0, 1.0, {1000.0: 1.0}))
    assert "square wave" not in str(figures(tone_material(pure))["level"].remark)
