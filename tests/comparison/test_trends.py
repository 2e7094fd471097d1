"""Trends: lines by hand, a confounder, refusals."""

from __future__ import annotations

import numpy as np
import pytest

from backbench.errors import Refusal
from backbench.statistics.trends import description_lines, false_discovery, screen, trend


def test_an_exact_line() -> None:
    x = np.arange(10.0)
    found = trend(x, 3 - 2 * x)
    assert (found.slope, found.low, found.high, found.intercept) == (-2, -2, -2, 3)
    assert found.rho == pytest.approx(-1, abs=1e-12)
    assert found.n == 10


def test_one_wild_value_moves_the_slope_little() -> None:
    x = np.arange(15.0)
    y = x.copy()
    y[7] = 1000
    assert trend(x, y).slope == pytest.approx(1.0)


def test_pooled_and_within_group_slopes_of_other_sign_are_noted() -> None:
    """Simpson's paradox: each group falls, but the group further right lies higher."""
    rng = np.random.default_rng(3)
    x = np.concatenate([np.arange(8.0), np.arange(8.0) + 20, np.arange(8.0) + 40])
    groups = ["tube"] * 8 + ["hybrid"] * 8 + ["solid state"] * 8
    height = np.repeat([0.0, 30.0, 60.0], 8)
    y = height - 0.5 * (x % 20) + rng.normal(0, 0.1, x.size)
    found = trend(x, y, groups)
    assert found.slope > 0
    assert all(part.slope < 0 for part in found.within.values())
    assert found.note.startswith(
        "over all units it rises, but within hybrid, solid state, tube it falls"
    )


def test_agreement_has_no_note() -> None:
    x = np.arange(16.0)
    assert trend(x, x + np.sin(x), ["a"] * 8 + ["b"] * 8).note == ""


def test_a_group_that_is_unsure_of_its_sign_is_not_named() -> None:
    rng = np.random.default_rng(1)
    x = np.arange(40.0)
    y = x + rng.normal(0, 0.5, 40)
    y[32:] = 36 + rng.normal(0, 5, 8)
    found = trend(x, y, ["tube"] * 32 + ["hybrid"] * 8)
    assert found.note == ""


def test_small_groups_are_left_out() -> None:
    x = np.arange(12.0)
    assert set(trend(x, x, ["a"] * 9 + ["b"] * 3).within) == {"a"}


@pytest.mark.parametrize(
    ("x", "y"), [([1, 2, 3], [1, 2, 3]), ([1, 1, 1, 1], [1, 2, 3, 4]), ([1, 2, 3, 4], [5, 5, 5, 5])]
)
def test_no_trend_without_units_or_spread(x: list[float], y: list[float]) -> None:
    with pytest.raises(Refusal):
        trend(x, y)


def test_false_discovery_by_hand() -> None:
    """Benjamini-Hochberg: p n / rank, made monotone from the largest down."""
    found = false_discovery([0.01, 0.04, 0.03, 0.5])
    assert found == pytest.approx([0.04, 0.16 / 3, 0.16 / 3, 0.5])
    assert false_discovery([]) == []


def test_screening_adjusts_for_the_number_looked_at() -> None:
    x = np.arange(12.0)
    rng = np.random.default_rng(2)
    noise = {f"noise {n}": rng.normal(size=12) for n in range(9)}
    short = np.full(12, np.nan)
    short[:3] = 1.0
    found, refused = screen(x, {**noise, "rising": x**2, "short": short})
    assert found[0].name == "rising"
    assert all(row.adjusted_p >= row.trend.p for row in found)
    assert refused == {"short": "3 units; a trend takes at least 4"}
    assert found[1].adjusted_p > 0.05


def test_a_trend_in_words() -> None:
    x = np.arange(10.0)
    lines = description_lines(trend(x, 2 * x, ["tube"] * 10), "years", "dB")
    assert lines[0].startswith("all: slope 2 dB per year (2 to 2, 95 %), rho 1.00, p ")
    assert lines[0].endswith(", n 10")
    assert lines[1].startswith("tube: slope 2")
