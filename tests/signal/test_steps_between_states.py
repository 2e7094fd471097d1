"""State levels, edges, ringing and tilt on arrays of known form."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit

from backbench.errors import Refusal
from backbench.signal.edge import Extreme
from backbench.signal.edge_detection import edges_of_trace
from backbench.signal.quantisation_step import quantisation_step
from backbench.signal.rise_time import ChainRiseTime, chained, taken_off
from backbench.signal.state_fit import fit_state
from backbench.signal.transition import cutoff_from_tilt, ringing, state_levels
from backbench.signal.waveform_period import one_period
from squares import RATE, recorded, second_order, step_of, traced
from tones import sines, track


def test_state_levels_are_modes_not_means_or_extremes() -> None:
    rng = np.random.default_rng(1)
    states = np.concatenate([np.full(4000, -0.4), np.full(6000, 1.1)])
    ringing_ = np.concatenate([np.zeros(4000), 0.5 * np.exp(-np.arange(6000) / 300.0)])
    low, high = state_levels(states + ringing_ + rng.normal(0, 1e-4, 10_000))
    assert low == pytest.approx(-0.4, abs=2e-3)
    assert high == pytest.approx(1.1, abs=5e-3)


def test_a_constant_has_no_states() -> None:
    with pytest.raises(Refusal, match="silence"):
        state_levels(np.ones(100))


@pytest.mark.parametrize("damping", [0.1, 0.3, 0.6])
def test_ringing_from_turns_of_a_second_order_step(damping: float) -> None:
    """Closed form: turns at n pi / wd, each exp(-pi z / sqrt(1 - z^2)) of the one before."""
    wd = 2 * math.pi * 3e4 * math.sqrt(1 - damping**2)
    fall = math.exp(-math.pi * damping / math.sqrt(1 - damping**2))
    turns = [Extreme(n * math.pi / wd, (-1) ** (n + 1) * fall**n) for n in (1, 2, 3)]
    read = ringing(turns)
    assert read is not None
    assert read[0] == pytest.approx(wd / 2 / math.pi, rel=1e-9)
    assert read[1] == pytest.approx(damping, rel=1e-9)
    assert ringing(turns[:1]) is None


def test_turns_that_do_not_fall_are_no_ringing() -> None:
    growing = [Extreme(1e-5 * n, (-1) ** n * 0.1 * 1.1**n) for n in range(4)]
    assert ringing(growing) is None
    assert ringing([Extreme(one.time_s, math.copysign(0.1, one.volts)) for one in growing]) is None


@pytest.mark.parametrize("bits", [8, 10, 12, 16])
def test_the_step_of_rounded_values_is_found(bits: int) -> None:
    step = 3.3 / 2**bits
    wave = np.sin(np.arange(400_000) * 0.37) + np.random.default_rng(1).normal(0, 1e-3, 400_000)
    assert quantisation_step(np.round(wave / step) * step) == pytest.approx(step, rel=1e-4)
    assert quantisation_step(wave) == 0.0
    assert quantisation_step(np.ones(10)) == 0.0


@pytest.mark.parametrize("rate", [0.0, 0.3, 2.0, -1.0])
def test_an_exponential_state_is_carried_to_its_edge(rate: float) -> None:
    """Against scipy.optimize.curve_fit on the same part of the state, and the closed form."""
    x = np.linspace(0, 1, 1001)
    volts = 1.0 + 0.2 * (np.exp(-rate * x) if rate else 1 - x)
    volts += np.random.default_rng(2).normal(0, 1e-5, len(x))
    result = fit_state(x, volts, 1.0, 0.0, 0.95, tilted=True)
    fall = 0.2 * (1 - math.exp(-rate)) if rate else 0.2
    assert abs(result.at_edge - 1.2) < 4 * result.open_edge
    assert abs(result.fall - fall) < 4 * result.open_fall
    if rate:
        part = (x >= 0.3) & (x <= 0.95)
        model = lambda t, a, b, k: a + b * np.exp(-k * t)  # noqa: E731
        best, _ = curve_fit(model, x[part], volts[part], p0=(1.0, 0.2, rate))
        assert result.at_edge == pytest.approx(float(best[0] + best[1]), abs=2e-5)


def test_every_whole_edge_of_a_trace_is_found() -> None:
    time, volts = traced(lambda t: step_of(5e4, 0.5, t), 1000.0)
    edges = edges_of_trace(time, volts, 0.5e-3)
    assert [edge.rising for edge in edges] == [False, True, False]
    assert [edge.middle_s for edge in edges] == pytest.approx([0.8e-3, 1.3e-3, 1.8e-3], abs=5e-6)
    for edge in edges:
        assert edge.amplitude == pytest.approx(2.0, rel=5e-3)


def test_a_trace_without_a_whole_edge_or_of_another_frequency_is_refused() -> None:
    time, volts = traced(lambda t: step_of(5e4, 0.5, t), 1000.0)
    with pytest.raises(Refusal, match="half a period of the stated"):
        edges_of_trace(time, volts, 0.6e-3)
    early = time < 0.5e-3
    with pytest.raises(Refusal, match="whole state before and after"):
        edges_of_trace(time[early], volts[early], 0.5e-3)


def test_a_period_is_put_together_from_harmonics_off_the_grid_of_the_record() -> None:
    volts = recorded(second_order(2e4, 0.5), 1000.37, noise=1e-4)
    period = one_period(track(volts, RATE), 1000.0, 50.0)
    assert period.frequency_hz == pytest.approx(1000.37, rel=1e-7)
    quarter = len(period.volts) // 4
    upward = int(np.argmax(np.roll(period.volts, quarter) > 0))
    assert upward == pytest.approx(quarter, rel=0.02)
    # 87 harmonics, each with the noise of a line in a record of 57 600 samples.
    assert period.noise == pytest.approx(1e-4 * math.sqrt(2 * 87 / 57_600) * 1.25, rel=0.3)


@pytest.mark.parametrize(
    ("volts", "hz", "message"),
    [
        (recorded(second_order(2e4, 0.5), second=0.3), 1000.0, "differ in length"),
        (sines(RATE, 0.3, {1000.0: 1.0}) + 1e-5 * np.sin(np.arange(57_600.0)), 1000.0,
         "not a square wave"),
        (recorded(second_order(2e4, 0.5), 1100.0), 1000.0, "1.1 kHz, not at 1 kHz"),
        (recorded(second_order(2e4, 0.5), 10_000.0), 10_000.0, "fewer than 18 harmonics"),
    ],
)  # fmt: skip
def test_what_is_not_the_stated_square_wave_is_refused(
    volts: np.ndarray, hz: float, message: str
) -> None:
    with pytest.raises(Refusal, match=message):
        one_period(track(volts, RATE), hz, 50.0)


def test_rise_times_subtract_in_quadrature() -> None:
    rise = taken_off(5e-6, 0.0, ChainRiseTime(3e-6 / 2, 3e-6 / 2), 0.0, 1e-9)
    assert rise.value == pytest.approx(math.sqrt(25 - 2.25) * 1e-6)
    assert not rise.bounded
    assert rise.u == pytest.approx(0.75 * 2.25e-12 / (2 * rise.value * math.sqrt(3)))
    assert chained(ChainRiseTime(3e-9, 3e-9), 4e-9) == pytest.approx((5e-9, 5e-9))


@pytest.mark.parametrize(
    ("own", "converter", "step"),
    [
        (None, 0.0, 1e-9),
        (ChainRiseTime(3e-6, 3e-6), 0.0, 1e-9),
        (ChainRiseTime(0.0, 3e-6), 0.0, 1e-9),
        (ChainRiseTime(1e-9, 1e-9), 3e-6, 0.0),
        (ChainRiseTime(1e-9, 1e-9), 0.0, 3e-6),
    ],
)
def test_an_edge_not_clearly_slower_than_its_chain_is_bounded(
    own: ChainRiseTime | None, converter: float, step: float
) -> None:
    rise = taken_off(5e-6, 1e-8, own, converter, step)
    assert rise.bounded
    assert rise.value >= 5e-6


def test_cutoff_from_tilt() -> None:
    """tilt = 2 tanh(pi fc / 2 f): 0.0314133 at fc = f / 100, 0.3116007 at f / 10 (computed)."""
    assert cutoff_from_tilt(0.03141334293, 1000.0) == pytest.approx(10.0, rel=1e-9)
    assert cutoff_from_tilt(0.3116006584, 1000.0) == pytest.approx(100.0, rel=1e-9)
