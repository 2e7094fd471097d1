"""Square waves, recorded and traced: closed forms, bounds, refusals, properties."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.metrics.measurement import measure
from squares import (
    RATE,
    high_pass,
    ideal_trace,
    low_pass,
    recorded,
    second_order,
    square_material,
    step_of,
    trace_material,
    traced,
)
from tones import figures, reasons, track


def overshoot_of(damping: float) -> float:
    """Closed form of a second-order step: exp(-pi z / sqrt(1 - z^2))."""
    return math.exp(-math.pi * damping / math.sqrt(1 - damping**2))


@pytest.mark.parametrize("damping", [0.3, 0.5])
def test_second_order_step_in_a_recording(damping: float) -> None:
    result = figures(square_material(track(recorded(second_order(2e4, damping)), RATE)))
    over = overshoot_of(damping)
    assert abs(result["overshoot"].value - 100 * over) < 2 * result["overshoot"].uncertainty
    assert result["overshoot"].value == pytest.approx(100 * over, abs=0.3)
    assert result["undershoot"].value == pytest.approx(100 * over**2, abs=0.5)
    assert result["ringing_damping"].value == pytest.approx(damping, abs=0.01)
    damped = 2e4 * math.sqrt(1 - damping**2)
    assert result["ringing_frequency"].value == pytest.approx(damped, rel=0.03)
    assert result["state_high"].value == pytest.approx(1.0, abs=2e-3)
    assert result["state_low"].value == pytest.approx(-1.0, abs=2e-3)
    assert result["preshoot"].bound == "upper"


@pytest.mark.parametrize(("corner", "damping", "hz"), [(2e4, 0.3, 1e3), (8e4, 0.4, 1e4)])
def test_second_order_step_in_a_trace(corner: float, damping: float, hz: float) -> None:
    time, volts = traced(lambda t: step_of(corner, damping, t), hz)
    result = figures(trace_material(time, volts, hz))
    over = overshoot_of(damping)
    assert result["overshoot"].value == pytest.approx(100 * over, abs=0.2)
    assert result["undershoot"].value == pytest.approx(100 * over**2, abs=0.3)
    assert result["ringing_damping"].value == pytest.approx(damping, abs=0.01)
    assert result["ringing_frequency"].value == pytest.approx(
        corner * math.sqrt(1 - damping**2), rel=0.02
    )
    for name in ("rise_time", "fall_time"):
        assert result[name].bound is None
        assert result[name].value == pytest.approx(_ten_to_ninety(corner, damping), rel=0.01)


def _ten_to_ninety(corner: float, damping: float) -> float:
    t = np.linspace(0, 1 / corner, 200_001)
    step = step_of(corner, damping, t)
    return float(t[np.argmax(step >= 0.9)] - t[np.argmax(step >= 0.1)])


@pytest.mark.parametrize("corner", [10.0, 100.0])
def test_tilt_of_a_first_order_high_pass(corner: float) -> None:
    """Closed form, steady state: 2 tanh(pi fc / 2 f)."""
    both = lambda f: high_pass(corner)(f) * second_order(2e4, 0.6)(f)  # noqa: E731
    result = figures(square_material(track(recorded(both), RATE)))
    tilt = 2 * math.tanh(math.pi * corner / 2000)
    assert abs(result["tilt"].value - 100 * tilt) < 3 * result["tilt"].uncertainty
    assert result["tilt"].value == pytest.approx(100 * tilt, rel=0.02)
    assert result["tilt_low_cutoff"].value == pytest.approx(corner, rel=0.02)


@pytest.mark.parametrize("corner", [200.0, 400.0])
def test_the_tilt_of_a_high_pass_near_the_frequency_is_exponential(corner: float) -> None:
    """Closed form as above; a straight line through its middle would read 4 to 17 % less."""
    both = lambda f: high_pass(corner)(f) * second_order(4e4, 0.7)(f)  # noqa: E731
    result = figures(square_material(track(recorded(both), RATE)))
    tilt = 2 * math.tanh(math.pi * corner / 2000)
    assert abs(result["tilt"].value - 100 * tilt) < 2 * result["tilt"].uncertainty
    assert result["tilt"].value == pytest.approx(100 * tilt, rel=3e-3)
    assert result["tilt_low_cutoff"].value == pytest.approx(corner, rel=5e-3)


@pytest.mark.parametrize("bits", [8, 10, 12])
@pytest.mark.parametrize("noise", [0.0, 3e-3])
@pytest.mark.parametrize("uneven", [False, True])
def test_an_ideal_trace_gives_levels_and_bounds(bits: int, noise: float, uneven: bool) -> None:
    """Two levels and edges that take no time: levels exact, the edges' times upper bounds."""
    for seed in range(8):
        time, volts = ideal_trace(
            1000.0, points=300 + 211 * seed, bits=bits, noise=noise, uneven=uneven, seed=seed
        )
        given_ = trace_material(time, volts, 1000.0)
        with np.errstate(all="raise"):
            result = figures(given_)
        assert all(math.isfinite(f.value) and math.isfinite(f.uncertainty) for f in result.values())
        for name, level in (("state_high", 1.0), ("state_low", -1.0)):
            assert abs(result[name].value - level) < 2 * result[name].uncertainty
            assert result[name].uncertainty < 0.03
        widest = float(np.diff(time).max())
        for name in ("rise_time", "fall_time"):
            assert result[name].bound == "upper"
            assert result[name].value < 4 * widest
        assert result["slew_rate"].bound == "lower"


@pytest.mark.parametrize("times", [4.2, 4.8])
def test_the_greatest_of_thousands_of_noisy_values_is_no_preshoot(times: float) -> None:
    """Of 4,000 normal values one beyond four standard deviations is nothing odd."""
    time, volts = ideal_trace(1000.0, points=4000, bits=12, noise=5e-3, seed=4)
    before = int(np.flatnonzero(np.diff(volts) > 1)[1]) - 40
    volts[before] = -1.0 - times * 5e-3
    figure = figures(trace_material(time, volts, 1000.0))["preshoot"]
    assert figure.bound == "upper"
    volts[before] = -1.0 - 20 * 5e-3
    figure = figures(trace_material(time, volts, 1000.0))["preshoot"]
    assert figure.bound is None
    assert figure.value == pytest.approx(5.0, abs=2 * figure.uncertainty)


def test_noise_does_not_lengthen_the_settling() -> None:
    """First order, closed form ln 25 / (2 pi B), with noise of a fifth of the band's half-width."""
    expected = math.log(25) / (2 * math.pi * 1e4)
    for seed in range(6):
        time, volts = traced(
            lambda t: -np.expm1(-2 * np.pi * 1e4 * np.maximum(t, 0)), 1000.0, points=12_000,
            noise=8e-3, seed=seed,
        )  # fmt: skip
        result = figures(trace_material(time, volts, 1000.0))["settling_time"]
        assert abs(result.value - expected) < 2 * result.uncertainty
        assert result.value == pytest.approx(expected, rel=0.15)


def test_rounding_to_steps_is_in_the_uncertainty() -> None:
    """A step q leaves a level q / sqrt(12) open (GUM F.2.2.1)."""
    time, volts = traced(lambda t: step_of(2e4, 0.5, t), 1000.0, noise=1e-6)
    fine = figures(trace_material(time, volts, 1000.0))["state_high"]
    step = 2.5 / 2**8
    coarse = figures(trace_material(time, np.round(volts / step) * step, 1000.0))["state_high"]
    assert coarse.uncertainty >= 0.999 * step / math.sqrt(12)
    assert coarse.uncertainty > fine.uncertainty


def test_a_flat_top_bounds_tilt_and_cutoff() -> None:
    result = figures(square_material(track(recorded(second_order(2e4, 0.6)), RATE)))
    assert result["tilt"].bound == "upper"
    assert result["tilt_low_cutoff"].bound == "upper"
    assert result["tilt_low_cutoff"].value < 2.0


def test_rising_tops_have_a_tilt_but_no_cutoff() -> None:
    rising = lambda f: second_order(2e4, 0.6)(f) * (1 + 0.05 / (1 + 1j * f / 200))  # noqa: E731
    given_ = square_material(track(recorded(rising), RATE))
    assert figures(given_)["tilt"].value < -1.0
    assert "tops rise" in reasons(given_)["tilt_low_cutoff"][1]


def test_states_too_short_to_tell_tilt_from_ringing() -> None:
    time, volts = traced(lambda t: step_of(3e4, 0.3, t), 1e4)
    assert "too short" in reasons(trace_material(time, volts, 1e4))["tilt"][1]


def test_edges_too_long_beside_the_states_are_refused() -> None:
    """A second-order step of 13.5 us within states of 50 us never comes to rest."""
    time, volts = traced(lambda t: step_of(2.5e4, 0.7, t), 1e4)
    message = reasons(trace_material(time, volts, 1e4))
    assert {status for status, _ in message.values()} == {"rejected"}
    assert "lower frequency" in message["rise_time"][1]


@pytest.mark.parametrize("corner", [8e3, 15e3])
def test_first_order_edge_in_a_recording(corner: float) -> None:
    """Closed form: ln 9 / (2 pi B); the record's own band is in the uncertainty."""
    result = figures(square_material(track(recorded(low_pass(corner)), RATE)))
    expected = math.log(9) / (2 * math.pi * corner)
    assert result["rise_time"].bound is None
    assert abs(result["rise_time"].value - expected) < 2.5 * result["rise_time"].uncertainty
    assert result["rise_time"].value == pytest.approx(expected, rel=0.03)
    assert result["overshoot"].bound == "upper"
    assert result["overshoot"].value < 4.0
    assert "ringing_frequency" not in result


@pytest.mark.parametrize("response", [low_pass(5e4), low_pass(8e4), second_order(6e4, 0.7)])
def test_an_edge_not_clearly_slower_than_the_converter_is_bounded(response: object) -> None:
    result = figures(square_material(track(recorded(response), RATE)))  # type: ignore[arg-type]
    assert result["rise_time"].bound == "upper"
    assert result["slew_rate"].bound == "lower"


def test_an_edge_as_fast_as_the_converter_is_refused() -> None:
    message = reasons(square_material(track(recorded(low_pass(1e6)), RATE)))
    assert {status for status, _ in message.values()} == {"rejected"}
    assert "record at a higher rate" in message["rise_time"][1]


def test_without_the_generators_rise_time_there_is_a_bound() -> None:
    slow = track(recorded(low_pass(1e4)), RATE)
    assert figures(square_material(slow, rise_time_s=None))["rise_time"].bound == "upper"
    time, volts = traced(lambda t: step_of(2e4, 0.5, t), 1000.0)
    assert figures(trace_material(time, volts, 1000.0))["rise_time"].bound is None
    unknown = trace_material(time, volts, 1000.0)
    bare = type(unknown.stimulus)(**{**unknown.stimulus.model_dump(), "probe_rise_time_s": None})
    from dataclasses import replace

    assert figures(replace(unknown, stimulus=bare))["rise_time"].bound == "upper"


def test_the_generators_own_rise_is_taken_off_from_its_track() -> None:
    """Two first-order edges of 20 kHz and 6 kHz in a row against the unit's 6 kHz alone."""
    source, unit = low_pass(2e4), low_pass(6e3)
    played = track(recorded(source), RATE)
    output = track(recorded(lambda f: source(f) * unit(f)), RATE)
    result = figures(square_material(output, generator=played, rise_time_s=None))["rise_time"]
    alone = math.log(9) / (2 * math.pi * 6e3)
    assert result.bound is None
    assert abs(result.value - alone) < 2.5 * result.uncertainty
    assert result.value == pytest.approx(alone, rel=0.03)


def test_settling_of_a_first_order_step() -> None:
    """Closed form: from half-way to 2 % off takes (ln 50 - ln 2) / (2 pi B)."""
    time, volts = traced(lambda t: -np.expm1(-2 * np.pi * 1e4 * np.maximum(t, 0)), 1000.0)
    result = figures(trace_material(time, volts, 1000.0))["settling_time"]
    expected = math.log(25) / (2 * math.pi * 1e4)
    assert result.value == pytest.approx(expected, rel=0.03)


def test_slope_reached_is_a_lower_bound_in_volts_per_second() -> None:
    """A straight ramp of 2 V in 20 us: 0.1 V/us."""
    time, volts = traced(lambda t: np.clip(t / 20e-6, 0, 1), 1000.0, noise=1e-5)
    result = figures(trace_material(time, volts, 1000.0))
    assert result["slew_rate"].value == pytest.approx(1e5, rel=5e-3)
    assert result["slew_rate"].bound == "lower"
    assert result["rise_time"].value == pytest.approx(16e-6, rel=5e-3)


def test_a_coarse_trace_tells_no_aberration() -> None:
    time, volts = traced(lambda t: step_of(1e6, 0.5, t), 1000.0, points=1000)
    message = reasons(trace_material(time, volts, 1000.0))
    assert "finer time base" in message["overshoot"][1]
    slope = figures(trace_material(time, volts, 1000.0))["slew_rate"]
    steepest = 2 * 2 * math.pi * 1e6  # no second-order step of 2 V is steeper: amplitude times w
    assert slope.bound == "lower"
    assert 0.5 * 0.8 * 2 * (len(time) / 2.7e-3) < slope.value < steepest


def test_the_waveform_is_one_period_with_its_rise_at_zero() -> None:
    (data,) = (
        t.data
        for t in measure(square_material(track(recorded(second_order(2e4, 0.5)), RATE)))[1]
        if t.name == "waveform"
    )
    assert data.x[0] == pytest.approx(-0.25e-3, rel=1e-3)
    assert data.x[-1] - data.x[0] == pytest.approx(1e-3, rel=2e-3)
    assert data.y[np.searchsorted(data.x, -0.1e-3)] == pytest.approx(-1, abs=0.01)
    assert data.y[np.searchsorted(data.x, 0.1e-3)] == pytest.approx(1, abs=0.01)


SQUARE = recorded(lambda f: high_pass(20.0)(f) * second_order(2e4, 0.4)(f), noise=1e-5)
SHAPE = ("rise_time", "fall_time", "overshoot", "undershoot", "settling_time", "tilt",
         "ringing_frequency", "ringing_damping")  # fmt: skip


@settings(max_examples=8, deadline=None)
@given(st.floats(0.05, 4.0), st.floats(-2.0, 2.0))
def test_scaling_and_offset_change_levels_and_nothing_else(gain: float, offset: float) -> None:
    as_is = figures(square_material(track(SQUARE, RATE)))
    moved = figures(square_material(track(gain * SQUARE + offset, RATE)))
    for name in SHAPE:
        assert moved[name].value == pytest.approx(as_is[name].value, rel=1e-3)
    high = gain * as_is["state_high"].value + offset
    assert moved["state_high"].value == pytest.approx(high, abs=1e-3 * gain)


def test_turning_the_polarity_swaps_rise_and_fall() -> None:
    uneven = SQUARE + 0.02 * SQUARE**2
    as_is = figures(square_material(track(uneven, RATE)))
    turned = figures(square_material(track(-uneven, RATE)))
    assert turned["rise_time"].value == pytest.approx(as_is["fall_time"].value, rel=1e-9)
    assert turned["overshoot"].value == pytest.approx(as_is["overshoot"].value, rel=1e-9)
    assert turned["state_high"].value == pytest.approx(-as_is["state_low"].value, rel=1e-9)


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 5000))
def test_trimming_changes_readings_by_no_more_than_their_uncertainty(cut: int) -> None:
    as_is = figures(square_material(track(SQUARE, RATE)))
    trimmed = figures(square_material(track(SQUARE[cut:], RATE)))
    for name in SHAPE:
        assert abs(trimmed[name].value - as_is[name].value) <= 2 * as_is[name].uncertainty


def test_swapping_tracks_swaps_channels() -> None:
    one, two = track(SQUARE, RATE), track(recorded(low_pass(1e4)), RATE)
    assert figures(square_material(one, two), 1) == figures(square_material(two, one), 2)


def test_kept_values() -> None:
    """Values of this record when the method was written: a change is a new method version."""
    result = figures(square_material(track(SQUARE, RATE)))
    kept = {"rise_time": 1.16626e-5, "overshoot": 25.364, "tilt": 6.2204, "ringing_damping": 0.3966}
    for name, value in kept.items():
        assert result[name].value == pytest.approx(value, rel=1e-3), name
