"""Bursts: closed forms, conditions, refusals, headroom across captures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Burst
from backbench.metrics.declaration import CaptureData
from backbench.metrics.registry import registry
from backbench.metrics.session import Derived, RefusedDerivation, Session
from backbench.signal.track import Track
from bench_readings import reading
from tones import figures, reasons, track

RATE = 48_000.0
LOADED = Conditions(load_ohm=8.0)


def bursts(
    peak: float = 4.0, *, hz: float = 1000.0, on: float = 0.02, period: float = 0.5,
    seconds: float = 1.8, noise: float = 1e-5, between: float = 0.1, clip: float = math.inf,
    seed: int = 1,
) -> np.ndarray:  # fmt: skip
    """Bursts of a sine, 20 dB lower between them, the first at 0.1 s."""
    t = np.arange(int(RATE * seconds)) / RATE
    inside = (t >= 0.1) & ((t - 0.1) % period < on)
    wave = peak * np.sin(2 * np.pi * hz * t) * np.where(inside, 1.0, between)
    rng = np.random.default_rng(seed)
    return np.clip(wave, -clip, clip) + rng.normal(0, noise, len(t))


def capture_data(*outputs: Track, **kept: object) -> CaptureData:
    stimulus = Burst(burst_hz=1000.0, on_ms=20.0, period_ms=500.0, generator_vrms=0.3)
    given_ = {"conditions": LOADED, "mains_hz": 50.0, **kept}
    return CaptureData(stimulus, outputs=dict(enumerate(outputs, start=1)), **given_)  # type: ignore[arg-type]


def test_level_power_and_peak_of_bursts() -> None:
    result = figures(capture_data(track(bursts(), RATE, calibration=0.004), load_uncertainty=0.006))
    assert result["burst_level"].value == pytest.approx(4 / math.sqrt(2), rel=1e-4)
    assert result["burst_level"].uncertainty == pytest.approx(0.004 * 2.828, rel=1e-2)
    assert result["burst_power"].value == pytest.approx(1.0, rel=2e-4)
    assert result["burst_power"].uncertainty == pytest.approx(0.01, rel=1e-2)
    assert result["burst_peak"].value == pytest.approx(4.0, rel=3e-3)
    assert result["burst_distortion"].bound == "upper"
    assert result["burst_distortion"].value < 0.01


@pytest.mark.parametrize("clip", [0.5, 0.7, 0.9])
def test_distortion_of_clipped_bursts_against_a_transform(clip: float) -> None:
    """numpy's transform of the clipped sine, finely sampled, harmonics 2 to 10."""
    fine = np.clip(np.sin(2 * np.pi * np.arange(4096) / 4096), -clip, clip)
    lines = np.abs(np.fft.rfft(fine))
    expected = 100 * math.sqrt(float(np.sum(lines[2:11] ** 2))) / lines[1]
    result = figures(capture_data(track(bursts(5.0, clip=5.0 * clip), RATE)))
    assert result["burst_distortion"].value == pytest.approx(expected, rel=0.03)
    assert "burst_peak" not in result


def test_without_a_resistor_there_is_no_power() -> None:
    message = reasons(capture_data(track(bursts(), RATE), conditions=Conditions(load_ohm="open")))
    assert message["burst_power"][0] == "not_applicable"


@pytest.mark.parametrize(
    ("volts", "message"),
    [
        (bursts(hz=1100.0), "of 1.09999 kHz"),
        (bursts(on=0.04), "burst of 40.3 ms"),
        (bursts(period=0.4), "400 ms apart"),
        (bursts(seconds=0.3, period=0.25, on=0.3), "no whole burst"),
        (bursts(20.0, clip=10.0, noise=0.0), "clipped"),
        (np.zeros(48_000), "silence"),
    ],
)
def test_what_is_not_as_stated_is_refused(volts: np.ndarray, message: str) -> None:
    refused = reasons(capture_data(track(volts, RATE)))
    assert {status for status, _ in refused.values()} == {"rejected"}
    assert message in refused["burst_level"][1]


BURSTS = bursts(2.0, clip=1.6)


@settings(max_examples=10, deadline=None)
@given(st.floats(0.01, 4.0), st.integers(0, 3000))
def test_scaling_and_trimming(gain: float, cut: int) -> None:
    as_is = figures(capture_data(track(BURSTS, RATE)))
    scaled = figures(capture_data(track(gain * BURSTS[cut:], RATE)))
    assert scaled["burst_level"].value == pytest.approx(gain * as_is["burst_level"].value, rel=1e-3)
    assert scaled["burst_distortion"].value == pytest.approx(
        as_is["burst_distortion"].value, rel=0.02
    )


def test_swapping_tracks_swaps_channels() -> None:
    one, two = track(BURSTS, RATE), track(bursts(1.0), RATE)
    assert figures(capture_data(one, two), 1) == figures(capture_data(two, one), 2)


def ends(clip: float, first: float, last: float) -> np.ndarray:
    """Bursts of 4 V, clipped at a share of it from `first` to `last` s after their start."""
    volts, since = bursts(noise=0.0), (np.arange(int(RATE * 1.8)) / RATE - 0.1) % 0.5
    inside = (since >= first) & (since < last)
    clipped = np.where(inside, np.clip(volts, -4 * clip, 4 * clip), volts)
    return clipped + np.random.default_rng(2).normal(0, 1e-5, len(volts))


@pytest.mark.parametrize(("first", "last"), [(0.0, 0.005), (0.015, 0.02)])
def test_bursts_clipped_at_one_end_alone_are_clipped(first: float, last: float) -> None:
    """Closed form: numpy's transform of the clipped sine, harmonics 2 to 10."""
    lines = np.abs(np.fft.rfft(np.clip(np.sin(2 * np.pi * np.arange(4096) / 4096), -0.9, 0.9)))
    expected = 100 * math.sqrt(float(np.sum(lines[2:11] ** 2))) / lines[1]
    result = figures(capture_data(track(ends(0.9, first, last), RATE)))
    assert result["burst_distortion"].value < 1.0
    assert result["burst_end_distortion"].value == pytest.approx(expected, rel=0.03)
    assert "burst_peak" not in result


@pytest.mark.parametrize("clip", [0.8, 0.9, 0.95])
def test_flattening_of_a_clipped_sine(clip: float) -> None:
    """Closed form: the clipped crest over the fundamental, 2 / pi (asin c + c sqrt(1 - c^2))."""
    fundamental = 2 / math.pi * (math.asin(clip) + clip * math.sqrt(1 - clip**2))
    result = figures(capture_data(track(bursts(5.0, clip=5.0 * clip), RATE)))["burst_flattening"]
    assert result.value == pytest.approx(100 * (1 - clip / fundamental), abs=2 * result.uncertainty)
    assert figures(capture_data(track(bursts(), RATE)))["burst_flattening"].bound == "upper"


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda v: v * np.where(np.arange(len(v)) < 0.7 * RATE, 0.9, 1.0), "levels differ by"),
        (lambda v: np.where(abs(np.arange(len(v)) - 0.61 * RATE) < 4, 0.0, v), "a gap, a click"),
        (lambda v: np.delete(v, slice(int(0.608 * RATE), int(0.608 * RATE) + 5)), "steady"),
    ],
)
def test_bursts_that_differ_or_are_disturbed_are_refused(change, why: str) -> None:  # type: ignore[no-untyped-def]
    refused = reasons(capture_data(track(change(bursts()), RATE)))
    assert why in refused["burst_level"][1]


def headroom(
    pairs: list[tuple[float, float]], rated: float = 50.0
) -> Derived | RefusedDerivation | None:
    """From captures of (burst power, distortion in percent)."""
    readings = []
    for n, (watts, percent) in enumerate(pairs):
        like = {"stimulus": "burst", "power_w": watts, "analysis_key": str(n)}
        readings += [
            reading("burst_power", watts, 0.01, 0.001, **like),
            reading("burst_distortion", percent, 0.01, 0.01, **like),
        ]
    derive = registry().metrics["dynamic_headroom"].derive
    assert derive is not None
    return next(iter(derive(Session(readings, rated_power_w={"amp": rated}))), None)


def test_headroom_lies_between_the_last_unclipped_burst_and_the_next() -> None:
    """Bursts of 2 and 2.2 times the rated power: 10 lg sqrt(4.4) dB, a rectangle of 0.414 dB."""
    result = headroom([(25.0, 0.1), (100.0, 0.9), (110.0, 4.0)])
    assert isinstance(result, Derived)
    assert result.figure.value == pytest.approx(5 * math.log10(4.4), rel=1e-9)
    step = 10 * math.log10(1.1) / math.sqrt(12)
    assert result.figure.uncertainty == pytest.approx(math.hypot(0.0434, step), rel=1e-2)
    assert result.figure.bound is None


def test_other_bursts_have_no_dynamic_headroom() -> None:
    stimulus = Burst(burst_hz=1000.0, on_ms=40.0, period_ms=500.0, generator_vrms=0.3)
    taken = CaptureData(stimulus, LOADED, {1: track(bursts(on=0.04), RATE)}, mains_hz=50.0)
    power = figures(taken)["burst_power"]
    assert power.detail == {"burst": "40 ms of 1000 Hz every 500 ms"}
    derive = registry().metrics["dynamic_headroom"].derive
    assert derive is not None
    held = [reading("burst_power", 60.0, 0.01, 0.001, stimulus="burst", detail=power.detail)]
    assert list(derive(Session(held, rated_power_w={"amp": 50.0}))) == []


def test_headroom_without_a_clipped_burst_is_a_lower_bound() -> None:
    result = headroom([(25.0, 0.1), (60.0, 0.2)])
    assert isinstance(result, Derived)
    assert result.figure.bound == "lower"


def test_headroom_of_clipped_bursts_alone_is_refused() -> None:
    assert isinstance(headroom([(60.0, 5.0)]), RefusedDerivation)


def test_kept_values() -> None:
    """Values of this record when the method was written: a change is a new method version."""
    result = figures(capture_data(track(BURSTS, RATE)))
    assert result["burst_level"].value == pytest.approx(1.26767, rel=1e-4)
    assert result["burst_distortion"].value == pytest.approx(9.0034, rel=1e-3)


@pytest.mark.parametrize("angle", [0.0, 1.0, 2.0, 3.0])
def test_hum_beside_bursts_neither_hides_nor_makes_their_harmonics(angle: float) -> None:
    """9 mV of 60 Hz beside bursts of 7 V with 0.0174 % third harmonic."""
    t = np.arange(int(RATE * 1.8)) / RATE
    inside = (t >= 0.1) & ((t - 0.1) % 0.5 < 0.02)
    third = 7 * 1.74e-4 * np.sin(6 * np.pi * 1000.0 * t) * np.where(inside, 1.0, 0.0)
    hum = 9e-3 * np.sin(2 * np.pi * 60.05 * t + angle) + 1e-3 * np.sin(2 * np.pi * 120.1 * t)
    volts = bursts(7.0, noise=1e-4) + third + hum
    found = figures(capture_data(track(volts, RATE), mains_hz=60.0))["burst_distortion"]
    if found.bound is None:
        assert abs(found.value - 0.0174) < 2.5 * found.uncertainty
    assert found.value == pytest.approx(0.0174, rel=0.05)


@pytest.mark.parametrize(("top", "clips"), [(0.997, True), (1.001, False)])
def test_bursts_whose_crests_hold_one_sample_at_full_scale_are_refused(
    top: float, clips: bool
) -> None:
    """Sixty single samples of a record, fewer than a thousandth of it."""
    volts = bursts(10.0, noise=1e-5) / (10.0 * top)
    step = 2.0**-23
    wave = np.rint(np.clip(volts, -1, 1 - step) / step) * step
    told = reasons(capture_data(Track(wave, RATE, 1.0, 0.0, 24)))
    assert ("the converter clipped" in told.get("burst_level", ("", ""))[1]) == clips


def bent_bursts(lost: int = 0, buzz: float = 0.0, between: float = 0.0) -> np.ndarray:
    """2 % of second harmonic; a sample lost in the middle of the first burst, buzz."""
    t = np.arange(int(RATE * 1.8) + lost) / RATE
    inside = (t >= 0.1) & ((t - 0.1) % 0.5 < 0.02)
    wave = np.sin(2 * np.pi * 1000 * t) + 0.02 * np.cos(4 * np.pi * 1000 * t)
    volts = 4 * wave * np.where(inside, 1.0, between)
    volts += sum(buzz / n * np.cos(2 * np.pi * 100 * n * t + 1) for n in range(1, 100))
    volts += np.random.default_rng(1).normal(0, 1e-6, len(t))
    return np.delete(volts, slice(5280, 5280 + lost))


@pytest.mark.parametrize(
    ("lost", "buzz", "between"), [(1, 0.0, 0.0), (0, 1e-3, 0.0), (0, 1e-3, 0.1)]
)
def test_what_a_burst_is_too_short_to_show_is_in_its_uncertainty(
    lost: int, buzz: float, between: float
) -> None:
    result = figures(capture_data(track(bent_bursts(lost, buzz, between), RATE)))
    sound = figures(capture_data(track(bent_bursts(between=between), RATE)))
    true = {"burst_distortion": 2.0, "burst_level": 4 / math.sqrt(2)}
    for name, value in true.items():
        assert abs(result[name].value - value) <= 3 * result[name].uncertainty
        assert result[name].uncertainty > 3 * sound[name].uncertainty
        assert sound[name].value == pytest.approx(value, rel=1e-5)


@pytest.mark.parametrize("first", [20, 24, 28])
def test_an_edge_that_crosses_the_half_twice_is_one_edge(first: int) -> None:
    """Some samples of the other sign take the envelope back for less than a period."""
    volts = bursts(between=0.0)
    begun = round(0.1 * RATE)
    volts[begun + first : begun + first + 8] *= -1
    level = figures(capture_data(track(volts, RATE)))["burst_level"]
    assert level.value == pytest.approx(4 / math.sqrt(2), rel=0.01)
