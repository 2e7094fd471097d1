"""Intermodulation of two tones: closed forms, conditions, refusals, properties."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.documents.manifest import Conditions
from backbench.metrics.two_tones_view import TwoTonesView, two_tones_view
from backbench.signal.tone_course import strong_products
from backbench.signal.track import Track
from many_tones import RATE, pair_material, with_noise
from tones import figures, reasons, sines, track

DIFFERENCE = {
    "difference_frequency_2", "difference_frequency_3", "difference_frequency_total",
}  # fmt: skip
MODULATION = {
    "modulation_distortion",
    "modulation_distortion_2",
    "modulation_distortion_3",
    "modulation_distortion_rms",
}


def bent(
    hz: tuple[float, float], peaks: tuple[float, float], square: float, cube: float, **kept: float
) -> Track:
    """Two tones through y = x + square x^2 + cube x^3, in little noise, 0.4 s."""
    x = sines(RATE, 0.4, dict(zip(hz, peaks, strict=True)))
    return track(with_noise(x + square * x**2 + cube * x**3), RATE, **kept)


def fundamentals(a: float, b: float, cube: float) -> tuple[float, float]:
    """Amplitudes of two tones behind the polynomial: a + cube (3/4 a^3 + 3/2 a b^2)."""
    return (
        a + cube * (0.75 * a**3 + 1.5 * a * b**2),
        b + cube * (0.75 * b**3 + 1.5 * b * a**2),
    )


@pytest.mark.parametrize(
    "hz", [(19_000.0, 20_000.0), (13_000.4, 14_000.7), (8000.0, 11_950.0), (18_001.0, 19_999.0)]
)
def test_difference_frequency_of_a_polynomial(hz: tuple[float, float]) -> None:
    """Closed form: f2 - f1 has the amplitude k2 a b, each of third order 3/4 k3 a^2 b."""
    square, cube = 2e-3, -3e-3
    result = figures(pair_material(bent(hz, (1.0, 1.0), square, cube), hz=hz))
    whole = sum(fundamentals(1.0, 1.0, cube))
    second, third = square / whole, 0.75 * abs(cube) / whole
    assert result["difference_frequency_2"].value == pytest.approx(100 * second, rel=1e-4)
    assert result["difference_frequency_3"].value == pytest.approx(200 * third, rel=1e-4)
    expected = 100 * math.hypot(second, third)
    assert result["difference_frequency_total"].value == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("hz", [(60.0, 7000.0), (250.0, 8000.0), (60.013, 7001.7)])
def test_modulation_distortion_of_a_polynomial(hz: tuple[float, float]) -> None:
    """Closed form: each sideband of second order is k2 a b, of third order 3/4 k3 a^2 b."""
    square, cube = 1e-3, 5e-4
    record = bent(hz, (2.0, 0.5), square, cube)
    result = figures(pair_material(record, hz=hz, ratio=4.0, mains_hz=None))
    _, high = fundamentals(2.0, 0.5, cube)
    second, third = square * 1.0 / high, 0.75 * cube * 2.0 / high
    assert result["modulation_distortion_2"].value == pytest.approx(200 * second, rel=1e-4)
    assert result["modulation_distortion_3"].value == pytest.approx(200 * third, rel=1e-4)
    expected = 100 * math.sqrt(2 * second**2 + 2 * third**2)
    assert result["modulation_distortion_rms"].value == pytest.approx(expected, rel=1e-4)
    shown = 200 * math.hypot(second, third)
    assert result["modulation_distortion"].value == pytest.approx(shown, rel=1e-4)


def test_levels_and_power_of_both_tones() -> None:
    loaded = pair_material(
        bent((60.0, 7000.0), (4.0, 1.0), 0.0, 0.0, calibration=0.004),
        hz=(60.0, 7000.0), ratio=4.0, conditions=Conditions(load_ohm=8.0), load_uncertainty=0.006,
    )  # fmt: skip
    result = figures(loaded)
    assert result["tones_level"].value == pytest.approx(math.sqrt(17 / 2), rel=1e-6)
    assert result["tones_level"].uncertainty == pytest.approx(0.004 * math.sqrt(8.5), rel=1e-3)
    assert result["tones_power"].value == pytest.approx(8.5 / 8, rel=1e-6)
    assert result["equivalent_sine_power"].value == pytest.approx(5**2 / 2 / 8, rel=1e-6)
    assert result["equivalent_sine_power"].uncertainty == pytest.approx(0.01 * 12.5 / 8, rel=1e-3)
    assert result["tones_power"].uncertainty == pytest.approx(0.01 * 8.5 / 8, rel=1e-3)


def test_each_product_is_reported_with_its_order_and_place() -> None:
    track_ = bent((19_000.0, 20_000.0), (1.0, 1.0), 2e-3, -3e-3)
    from backbench.metrics.measurement import measure

    given = [
        finding.figure
        for finding in measure(pair_material(track_))[0]
        if finding.metric.name == "intermodulation_product"
    ]
    assert [(f.order, f.frequency_hz, f.detail["product"]) for f in given if f] == [
        (2, 1000.0, "f2 - f1"), (3, 18_000.0, "2 f1 - f2"), (3, 21_000.0, "2 f2 - f1"),
    ]  # fmt: skip


def test_which_distortion_applies_is_reported_by_ratio_and_frequencies() -> None:
    equal = reasons(pair_material(bent((19_000.0, 20_000.0), (1.0, 1.0), 1e-3, 0.0)))
    assert {name for name, (status, _) in equal.items() if status == "not_applicable"} >= MODULATION
    low_high = pair_material(
        bent((60.0, 7000.0), (4.0, 1.0), 1e-3, 0.0), hz=(60.0, 7000.0), ratio=4.0
    )
    assert set(reasons(low_high)) & (DIFFERENCE | MODULATION) == DIFFERENCE
    near = pair_material(
        bent((1000.0, 7000.0), (4.0, 1.0), 1e-3, 0.0), hz=(1000.0, 7000.0), ratio=4.0
    )
    message = reasons(near)
    assert set(message) >= DIFFERENCE | MODULATION | {"intermodulation_product"}
    assert "at least 8 times" in message["modulation_distortion_2"][1]


def test_products_in_the_noise_are_upper_bounds() -> None:
    volts = with_noise(sines(RATE, 0.4, {19_000.0: 1.0, 20_000.0: 1.0}), 1e-4)
    result = figures(pair_material(track(volts, RATE)))
    for name in DIFFERENCE:
        assert result[name].bound == "upper"
        assert 1e-5 < result[name].value < 1e-2


def test_a_mains_line_that_may_hide_in_a_product_widens_it() -> None:
    """1 kHz is the 20th multiple of 50 Hz: the 19th and the 21st tell what may be in it, which is
    reckoned with at twice their power."""
    peaks = {19_000.0: 1.0, 20_000.0: 1.0, 1000.0: 1e-3, 950.0: 3e-4, 1050.0: 3e-4}
    hummed = track(with_noise(sines(RATE, 0.5, peaks)), RATE)
    at_60 = figures(pair_material(hummed, mains_hz=60.0))["difference_frequency_2"]
    at_50 = figures(pair_material(hummed, mains_hz=50.0))["difference_frequency_2"]
    assert at_60.uncertainty < 1e-3 * at_60.value
    assert at_50.uncertainty == pytest.approx(0.3 * at_50.value, rel=0.1)


@pytest.mark.parametrize(
    ("peaks", "kept", "message"),
    [
        ({18_000.0: 1.0, 20_000.0: 1.0}, {}, "no tone near 19 kHz"),
        ({19_000.0: 1.0}, {}, "no tone near 20 kHz"),
        ({60.0: 1.0, 8000.0: 0.25}, {"hz": (60.0, 7000.0), "ratio": 4.0}, "is at 8 kHz"),
        ({19_000.0: 1.0, 20_000.0: 0.25}, {}, "4:1 at the output, not 1:1"),
        ({19_000.0: 20.0, 20_000.0: 20.0}, {}, "clipped"),
        ({}, {}, "silence"),
    ],
)
def test_what_is_not_as_stated_is_refused(
    peaks: dict[float, float], kept: dict[str, object], message: str
) -> None:
    volts = np.clip(sines(RATE, 0.4, peaks), -10, 10)
    if peaks:
        volts = np.clip(with_noise(volts), -10, 10)
    refused = reasons(pair_material(track(volts, RATE), **kept))
    assert {status for status, _ in refused.values()} == {"rejected"}
    assert message in refused["tones_level"][1]


def test_records_too_short_or_too_slow_are_refused() -> None:
    short = track(with_noise(sines(RATE, 0.26, {20.0: 1.0, 7000.0: 0.25})), RATE)
    message = reasons(pair_material(short, hz=(20.0, 7000.0), ratio=4.0))
    assert "too short" in message["tones_level"][1]
    slow = track(with_noise(sines(44_100.0, 0.5, {19_000.0: 1.0, 20_000.0: 1.0})), 44_100.0)
    message = reasons(pair_material(slow))
    assert "21 kHz" in message["difference_frequency_3"][1]
    assert "difference_frequency_2" not in message


def test_products_that_coincide_are_refused() -> None:
    """f2 = 1.5 f1: f2 - f1 and 2 f1 - f2 are one line."""
    hz = (8000.0, 12_000.0)
    message = reasons(pair_material(bent(hz, (1.0, 1.0), 1e-3, 1e-3), hz=hz))
    assert "falls on" in message["difference_frequency_2"][1]


def test_an_output_that_was_not_driven_is_refused() -> None:
    driven = bent((19_000.0, 20_000.0), (1.0, 1.0), 1e-3, 0.0)
    leaked = bent((19_000.0, 20_000.0), (0.01, 0.01), 1e-3, 0.0)
    message = reasons(pair_material(driven, leaked, driven_track=1), 2)
    assert "not driven" in message["tones_level"][1]


def test_the_benchs_own_products_bound_and_widen() -> None:
    """Within 10 dB of the bench's own the coherent worst case, above it an unknown phase."""
    hz = (19_000.0, 20_000.0)
    output = bent(hz, (1.0, 1.0), 2e-3, 0.0)
    alone = figures(pair_material(output))["difference_frequency_2"]
    strong, weak = (pair_material(bent(hz, (1.0, 1.0), square, 0.0)) for square in (1e-3, 1e-4))
    bounded = figures(pair_material(output, bench=strong))["difference_frequency_2"]
    assert bounded.bound == "upper"
    assert bounded.value == pytest.approx(1.5 * alone.value, rel=1e-3)
    assert "unknown phase" in (bounded.remark or "")
    widened = figures(pair_material(output, bench=weak))["difference_frequency_2"]
    assert widened.value == alone.value
    assert widened.uncertainty == pytest.approx(0.05 / math.sqrt(2) * alone.value, rel=1e-2)


PAIR = with_noise(sines(RATE, 0.3, {19_000.0: 1.0, 20_000.0: 1.0, 1000.0: 1e-3, 18_000.0: 5e-4}))


@settings(max_examples=10, deadline=None)
@given(st.floats(0.01, 4.0))
def test_scaling_changes_levels_and_nothing_else(gain: float) -> None:
    as_is, scaled = (figures(pair_material(track(v, RATE))) for v in (PAIR, gain * PAIR))
    for name in DIFFERENCE:
        assert scaled[name].value == pytest.approx(as_is[name].value, rel=1e-9)
        assert scaled[name].uncertainty == pytest.approx(as_is[name].uncertainty, rel=1e-6)
    assert scaled["tones_level"].value == pytest.approx(gain * as_is["tones_level"].value, rel=1e-9)


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 4000))
def test_trimming_changes_readings_by_no_more_than_their_uncertainty(cut: int) -> None:
    as_is, trimmed = (figures(pair_material(track(v, RATE))) for v in (PAIR, PAIR[cut:]))
    for name in DIFFERENCE:
        reach = 4 * math.hypot(as_is[name].uncertainty, trimmed[name].uncertainty)
        assert abs(trimmed[name].value - as_is[name].value) < reach


def test_swapping_tracks_swaps_channels() -> None:
    one, two = track(PAIR, RATE), track(PAIR + 1e-3 * PAIR**2, RATE)
    both, swapped = pair_material(one, two), pair_material(two, one)
    assert figures(both, 1) == figures(swapped, 2)
    assert figures(both, 2) == figures(swapped, 1)


def test_kept_values() -> None:
    """Values of this record when the method was written: a change is a new method version."""
    result = figures(pair_material(track(PAIR, RATE)))
    assert result["difference_frequency_2"].value == pytest.approx(0.0500, rel=2e-4)
    assert result["difference_frequency_3"].value == pytest.approx(0.0250, rel=2e-3)


def test_every_product_that_a_block_would_show_in_a_tone_is_taken_off_its_course() -> None:
    """Limiting makes strong products of high order: more than the four that are always taken."""
    x = sines(RATE, 0.8, {61.0: 0.8, 7003.0: 0.2})
    limited = with_noise((x + 0.15) / (1 + np.abs((x + 0.15) / 0.8) ** 8) ** (1 / 8))
    view = two_tones_view.build(
        pair_material(track(limited, RATE), hz=(61.0, 7003.0), ratio=4.0), 1
    )
    hz, _ = strong_products(view.tone_set)
    near = {round((f - 7003.0) / 61.0) for f in hz.tolist() if f > 6000.0}
    assert {-4, -2, -1, 1, 2, 4} <= near
    assert len(hz) <= 16
    clean, _ = strong_products(_clean().tone_set)
    assert len(clean) <= 4


def _clean() -> TwoTonesView:
    one = bent((61.0, 7003.0), (0.8, 0.2), 1e-4, 1e-4)
    seen: TwoTonesView = two_tones_view.build(pair_material(one, hz=(61.0, 7003.0), ratio=4.0), 1)
    return seen


@pytest.mark.parametrize("seed", range(4))
def test_products_of_tones_whose_speed_wavers_hold_the_truth(seed: int) -> None:
    """Closed form: of 2 f1 - f2 of a cubic, bent in time with the tones, 3/4 k3 a^2 b is left."""
    rng = np.random.default_rng(seed)
    seconds, cube = 0.4, -3e-3
    t = np.arange(round(seconds * RATE)) / RATE
    hz = np.array([19_000.0, 20_000.0]) + rng.uniform(-1, 1, 2)
    wow = rng.uniform(1.5, 3)
    late = 0.035 / (2 * np.pi * hz[1]) * np.sin(2 * np.pi * wow * t + rng.uniform(0, 6))
    x = sum(np.cos(2 * np.pi * f * (t + late)) for f in hz)
    wavering = figures(pair_material(track(with_noise(x + cube * x**3), RATE), hz=tuple(hz)))
    figure = wavering["difference_frequency_total"]
    first, _ = fundamentals(1.0, 1.0, cube)
    expected = 100 * 0.75 * abs(cube) / (2 * first)
    assert abs(figure.value - expected) < 2.5 * figure.uncertainty
    still = sum(np.cos(2 * np.pi * f * t) for f in hz)
    steady = figures(pair_material(track(with_noise(still + cube * still**3), RATE), hz=tuple(hz)))
    assert steady["difference_frequency_total"].uncertainty < figure.uncertainty


@pytest.mark.parametrize(("beside_hz", "bounded"), [(0.0, False), (0.6, True)])
def test_a_line_beside_a_product_is_none(beside_hz: float, bounded: bool) -> None:
    """Half a bin and more off its place: as a modulation by another mains makes."""
    peaks = {75.0: 0.8, 7003.0: 0.2, 7078.0 - beside_hz: 1e-3, 6928.0 + beside_hz: 1e-3}
    record = track(with_noise(sines(RATE, 1.0, peaks)), RATE)
    figure = figures(pair_material(record, hz=(75.0, 7003.0), ratio=4.0))["modulation_distortion_2"]
    assert (figure.bound == "upper") == bounded
    assert ("may lie under f2 - f1" in (figure.remark or "")) == bounded
