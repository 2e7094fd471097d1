"""Power at a distortion limit from tones at rising levels."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backbench.metrics.session import Derived, Reading, RefusedDerivation
from bench.coverage_limits import tallies
from bench_readings import derived, reading


def steps(
    watts: list[float], percent: list[float], metric: str = "thd_wide", **more: object
) -> list[Reading]:
    """One capture a power, told in no order."""
    made = []
    for n, (power, distortion) in enumerate(zip(watts, percent, strict=True)):
        same = {"power_w": power, "generator_vrms": 0.1 * (n + 1), **more}
        made.append(reading("output_power", power, 0.011, 1e-4, **same))
        made.append(reading(metric, distortion, 1e-3, 1e-3, **same))
    return made[::-1]


def at(limit: float, readings: list[Reading]) -> Derived | RefusedDerivation:
    """What is given at one limit."""
    given = derived("power_at_limit", readings)
    limits = [d.figure.limit_percent if isinstance(d, Derived) else d.limit_percent for d in given]
    assert limits == [0.1, 1.0, 3.0, 10.0]
    return given[limits.index(limit)]


def figure_at(limit: float, readings: list[Reading]) -> float:
    result = at(limit, readings)
    assert isinstance(result, Derived)
    assert result.figure.bound is None
    return result.figure.value


@given(st.floats(0.5, 4), st.floats(0.02, 0.5))
def test_a_power_law_is_met_exactly(exponent: float, scale: float) -> None:
    """distortion = scale * power**exponent is straight in both logarithms."""
    watts = [0.01 * 1.5**n for n in range(40)]
    readings = steps(watts, [scale * w**exponent for w in watts])
    assert figure_at(1.0, readings) == pytest.approx((1 / scale) ** (1 / exponent), rel=1e-9)


def test_the_last_rise_counts() -> None:
    """Crossover above the limit at low power, clean, a bump, clean again, then clipping."""
    readings = steps([0.1, 1, 5, 8, 10, 20], [5, 0.2, 2, 0.5, 0.5, 4.5])
    result = at(1.0, readings)
    assert isinstance(result, Derived)
    # Level before it, and nothing measured beyond: anywhere between the last two levels.
    assert result.figure.value == pytest.approx(10 * math.sqrt(2))
    assert result.figure.uncertainty / result.figure.value == pytest.approx(
        math.log(2) / math.sqrt(12), rel=2e-3
    )


def test_a_known_knee_narrows_the_answer_from_above() -> None:
    """Flat up to 10 W, then steep at first: the line beyond 12 W carried back bounds it below."""
    result = at(1.0, steps([5, 10, 12, 14], [0.01, 0.01, 3, 6]))
    assert isinstance(result, Derived)
    slope = math.log(2) / math.log(14 / 12)
    least = max(12 * math.exp(-math.log(3) / slope), 10.0)
    middle = math.sqrt(least * 12)
    assert result.figure.value == pytest.approx(middle, rel=5e-3)


def test_a_bound_above_the_limit_says_nothing_of_which_side() -> None:
    readings = steps([1, 10, 30], [0.2, 0.3, 0.4])
    readings += steps([40], [1.5], generator_vrms=0.9, bound="upper")
    readings = [replace(r, bound=None) if r.metric == "output_power" else r for r in readings]
    result = at(1.0, readings)
    assert isinstance(result, Derived)
    assert (result.figure.value, result.figure.bound) == (pytest.approx(30), "lower")


def test_a_last_level_within_its_noise_of_the_limit_is_no_bound() -> None:
    readings = steps([1, 10, 30], [0.2, 0.3, 0.9995])
    result = at(1.0, readings)
    assert isinstance(result, Derived)
    assert (result.figure.value, result.figure.bound) == (pytest.approx(10), "lower")


def test_a_limit_that_is_never_reached_is_a_lower_bound() -> None:
    result = at(10.0, steps([1, 10, 30], [0.2, 0.1, 2]))
    assert isinstance(result, Derived)
    assert (result.figure.value, result.figure.bound) == (pytest.approx(30), "lower")
    assert result.figure.uncertainty == pytest.approx(0.33)


def test_distortion_that_only_falls_never_reaches_the_limit() -> None:
    result = at(1.0, steps([1, 10, 30], [4, 2, 0.5]))
    assert isinstance(result, Derived)
    assert result.figure.bound == "lower"


def test_distortion_above_the_limit_throughout_is_refused() -> None:
    result = at(0.1, steps([1, 10, 30], [0.2, 0.3, 2]))
    assert isinstance(result, RefusedDerivation)
    assert "0.2 % or more" in result.reason
    assert result.limit_percent == 0.1


def test_the_narrower_figure_stands_in_and_says_so() -> None:
    result = at(1.0, steps([1, 10, 30], [0.2, 0.3, 2], metric="thd"))
    assert isinstance(result, Derived)
    assert result.figure.detail == {"distortion": "thd"}
    wide = steps([1, 10, 30], [0.2, 0.3, 2]) + steps([1, 10, 30], [0.1, 0.2, 1.5], metric="thd")
    both = at(1.0, wide)
    assert isinstance(both, Derived)
    assert both.figure.detail == {}


@pytest.mark.parametrize("curve", [lambda x: x**2, math.exp, lambda x: x**6 / 50 + x / 3])
def test_the_error_of_a_bent_curve_is_within_what_is_reported(
    curve: Callable[[float], float],
) -> None:
    """Against the exact crossing, found by bisection."""
    watts = [0.2, 0.5, 0.9, 1.4, 2.2, 3.5]
    scale = 1 / curve(1.1)
    result = at(1.0, steps(watts, [scale * curve(w) for w in watts]))
    assert isinstance(result, Derived)
    assert abs(result.figure.value - 1.1) < 2 * result.figure.uncertainty
    assert result.figure.estimation <= result.figure.uncertainty


def test_loads_and_outputs_stand_by_themselves() -> None:
    readings = steps([1, 10, 30], [0.2, 0.3, 2]) + steps([1, 10, 30], [0.2, 0.3, 2], output="right")
    assert len(derived("power_at_limit", readings)) == 8


def test_two_levels_are_too_few() -> None:
    assert derived("power_at_limit", steps([1, 30], [0.2, 2])) == []


def test_random_amplifiers_at_the_plans_steps_and_at_those_that_narrow_them() -> None:
    """Few of the thousand of tests/bench/coverage_limits.py: the interval holds the truth, and the
    steps that are asked for narrow it."""
    planned, narrowed = tallies(12)
    for tally in (planned, narrowed):
        scores = [score for pairs in tally.scores.values() for score, _ in pairs]
        assert len(scores) > 30
        assert sum(abs(score) <= 2 for score in scores) >= 0.93 * len(scores)
        assert not any(one for bounds in tally.wrong.values() for one in bounds)
    halves = [
        sorted(half for pairs in tally.scores.values() for _, half in pairs)
        for tally in (planned, narrowed)
    ]
    assert halves[1][len(halves[1]) // 2] < 0.5 * halves[0][len(halves[0]) // 2]


def test_powers_that_fall_back_with_more_drive_are_no_part_of_the_curve() -> None:
    """A supply that sags: 14.65 W at the most, then less with more distortion."""
    watts = [2.0, 5.0, 10.0, 13.721, 14.571, 14.648, 14.569, 14.323]
    percent = [1e-3, 1e-3, 1e-3, 4.718, 11.482, 14.469, 16.937, 19.638]
    found = at(10.0, steps(watts, percent))
    assert isinstance(found, Derived)
    assert abs(found.figure.value - 14.465) < 2.5 * found.figure.uncertainty
    assert 13.72 < found.figure.value < 14.572
