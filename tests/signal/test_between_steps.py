"""What a smooth curve measured at a few steps allows between two of them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from backbench.signal.between_steps import (
    HIDDEN,
    Bracket,
    Place,
    crossing_between,
    knee_before,
    value_between,
)

RISES = st.lists(st.floats(0.05, 2.0), min_size=4, max_size=4)


def test_a_straight_line_is_known_exactly() -> None:
    steps = [Place(float(n), 3.0 * n - 1) for n in range(4)]
    assert crossing_between(steps, 1, 3.5) == pytest.approx(Bracket(1.5, 1.5))
    assert value_between(steps, 1, 0.25) == pytest.approx(Bracket(2.75, 2.75))


def test_closed_form_of_a_knee() -> None:
    """Slopes 0.5, 4 and 1: between the two lines that are carried on, in x and in y."""
    steps = [Place(0, 0), Place(1, 0.5), Place(2, 4.5), Place(3, 5.5)]
    result = crossing_between(steps, 1, 3.8)
    assert result == pytest.approx(Bracket(2 - 0.7 - 0.05, 2.0))
    assert value_between(steps, 1, 0.5) == pytest.approx(Bracket(0.75, 4.0))


def test_of_two_lines_on_one_side_the_nearer_bounds_the_curve() -> None:
    """A valley: falling before the steps, rising beyond them; near a step little is open."""
    steps = [Place(-1, 2.0), Place(0, 0.0), Place(1, 1.0), Place(2, 3.0)]
    assert value_between(steps, 1, 0.9) == pytest.approx(Bracket(0.8, 0.9))
    turned = [Place(step.x, -step.y) for step in steps]
    assert value_between(turned, 1, 0.9) == pytest.approx(Bracket(-0.9, -0.8))


def test_without_a_neighbour_it_may_hug_either_step() -> None:
    assert crossing_between([Place(0, 0), Place(1, 2)], 0, 1.0) == Bracket(0, 1)


def test_a_step_known_as_a_bound_may_lie_far_below() -> None:
    steps = [Place(0, 0), Place(1, 0.5, at_most=True), Place(2, 4.5), Place(3, 8.5)]
    assert crossing_between(steps, 1, 2.5).high == 2.0


@given(RISES, st.floats(1.05, 8.0), st.floats(0.05, 0.95))
def test_a_bent_curve_crosses_within(gaps: list[float], power: float, share: float) -> None:
    """x**power, convex; and its mirror image, concave: against the root that scipy finds."""
    xs = [0.5 + sum(gaps[:n]) for n in range(5)]
    steps = [Place(x, x**power) for x in xs]
    target = (1 - share) * steps[2].y + share * steps[3].y
    root = float(brentq(lambda x: x**power - target, xs[2], xs[3], xtol=1e-12))
    result = crossing_between(steps, 2, target)
    assert result.low - 1e-9 <= root <= result.high + 1e-9
    mirrored = [Place(-step.x, -step.y) for step in steps[::-1]]
    turned = crossing_between(mirrored, 1, -target)
    assert turned.low - 1e-9 <= -root <= turned.high + 1e-9


@given(st.floats(-0.9, 0.9), st.floats(2, 50), st.floats(0.1, 0.9))
def test_a_knee_between_the_steps_lies_within(at: float, steep: float, share: float) -> None:
    """A slope of 0.3 with a rise of three added about a place between the two middle steps."""

    def curve(x: float) -> float:
        return 0.3 * x + 1.5 * math.tanh(steep * (x - at))

    steps = [Place(x, curve(x)) for x in (-3.0, -1.0, 1.0, 3.0)]
    target = (1 - share) * steps[1].y + share * steps[2].y
    root = float(brentq(lambda x: curve(x) - target, -1, 1))
    result = crossing_between(steps, 1, target)
    assert result.low <= root <= result.high


@pytest.mark.parametrize("rising", [True, False])
def test_either_direction_alike(rising: bool) -> None:
    sign = 1 if rising else -1
    steps = [Place(x, sign * x**3) for x in (0.5, 1.0, 2.0, 2.5)]
    result = crossing_between(steps, 1, sign * 4.0)
    assert result.low <= 4 ** (1 / 3) <= result.high


def test_a_knee_beyond_a_step_is_where_the_line_behind_it_comes_down_to_the_level() -> None:
    """Closed form: the line through (2, 3) and (3, 5) meets 0 at x = 0.5."""
    steps = [Place(-1.0, -0.5), Place(0.0, 0.05), Place(2.0, 3.0), Place(3.0, 5.0)]
    assert knee_before(steps, 1, 0.0) == pytest.approx(0.5 + HIDDEN * 2.0)
    assert knee_before(steps, 2, 0.0) is None
    assert knee_before(steps[:3], 1, 0.0) is None
    reached = Bracket(-0.5, 0.0).reaching(0.6)
    assert reached == Bracket(-0.5, 0.6)
    assert Bracket(-0.5, 0.0).reaching(None) == Bracket(-0.5, 0.0)
