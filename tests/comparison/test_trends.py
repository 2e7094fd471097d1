"""Trends: lines by hand, a confounder, refusals."""

from __future__ import annotations

import numpy as np
import pytest

from backbench.errors import Refusal
from backbench.statistics.trends import (
    description_lines,
    disagreement,
    false_discovery,
    screen,
    slope_text,
    trend,
)


def test_an_exact_line() -> None:
    x = np.arange(10.0)
    result = trend(x, 3 - 2 * x)
    assert (result.slope, result.low, result.high, result.intercept) == (-2, -2, -2, 3)
    assert result.rho == pytest.approx(-1, abs=1e-12)
    assert result.n == 10


def test_one_wild_value_moves_the_slope_little() -> None:
    x = np.arange(15.0)
    y = x.copy()
    y[7] = 1000
    assert trend(x, y).slope == pytest.approx(1.0)


def test_pooled_and_within_group_slopes_of_other_sign_are_noted() -> None:
    """Simpson's paradox: each group falls, but the group further right lies higher."""
    rng = np.random.default_rng(3)
    x = np.concatenate([np.arange(10.0), np.arange(10.0) + 20, np.arange(10.0) + 40])
    groups = ["tube"] * 10 + ["hybrid"] * 10 + ["solid state"] * 10
    height = np.repeat([0.0, 30.0, 60.0], 10)
    y = height - 0.5 * (x % 20) + rng.normal(0, 0.1, x.size)
    result = trend(x, y, groups)
    assert result.slope > 0
    assert all(part.slope < 0 for part in result.within.values())
    assert result.note.startswith(
        "over all units it rises, but within hybrid, solid state, tube it falls"
    )


def test_agreement_has_no_note() -> None:
    x = np.arange(16.0)
    assert trend(x, x + np.sin(x), ["a"] * 8 + ["b"] * 8).note == ""


def test_a_group_that_is_unsure_of_its_sign_is_not_named() -> None:
    rng = np.random.default_rng(0)
    x = np.arange(42.0)
    y = x + rng.normal(0, 0.5, 42)
    y[32:] = 36 + rng.normal(0, 5, 10)
    result = trend(x, y, ["tube"] * 32 + ["hybrid"] * 10)
    assert result.within["hybrid"].slope < 0 < result.slope
    assert disagreement(result, result.within) == ""


def test_small_groups_are_left_out() -> None:
    x = np.arange(19.0)
    assert set(trend(x, x, ["a"] * 10 + ["b"] * 9).within) == {"a"}


@pytest.mark.parametrize(
    ("x", "y"),
    [
        ([1, 2, 3], [1, 2, 3]),
        ([1] * 12, [*range(12)]),
        ([*range(12)], [5] * 12),
        ([*range(9)], [*range(9)]),
    ],
)
def test_no_trend_without_units_or_spread(x: list[float], y: list[float]) -> None:
    with pytest.raises(Refusal):
        trend(x, y)


def test_false_discovery_by_hand() -> None:
    """Benjamini-Hochberg: p n / rank, made monotone from the largest down."""
    result = false_discovery([0.01, 0.04, 0.03, 0.5])
    assert result == pytest.approx([0.04, 0.16 / 3, 0.16 / 3, 0.5])
    assert false_discovery([]) == []


def test_screening_adjusts_for_the_number_looked_at() -> None:
    x = np.arange(12.0)
    rng = np.random.default_rng(2)
    noise = {f"noise {n}": rng.normal(size=12) for n in range(9)}
    short = np.full(12, np.nan)
    short[:3] = 1.0
    result, refused = screen(x, {**noise, "rising": x**2, "short": short})
    assert result[0].name == "rising"
    assert all(row.adjusted_p >= row.trend.p for row in result)
    assert refused == {"short": "3 units; a trend takes at least 10"}
    assert result[1].adjusted_p > 0.05


def test_a_trend_in_words() -> None:
    x = np.arange(10.0)
    lines = description_lines(trend(x, 2 * x, ["tube"] * 10), "years", "dB")
    assert lines[0].startswith("all: +20 dB a decade (+20 dB to +20 dB, 95 %), rho 1, p ")
    assert lines[0].endswith(", n 10")
    assert lines[1].startswith("tube: +20 dB a decade")
    assert slope_text(-0.003, "years", "dB") == "-0.03 dB a decade"
    assert slope_text(0.5, "W", "1") == "+0.5 per W"


def test_no_relation_is_said_with_the_interval_that_spans_nothing() -> None:
    y = np.asarray([0.0, 1.0] * 6)
    (line,) = description_lines(trend(np.arange(12.0), y), "years", "dB")
    assert line.startswith("all: no relation seen (")
    assert " dB a decade, n 12)" in line


def test_groups_that_differ_in_level_withhold_the_pooled_line() -> None:
    """Damping over the decades: no group rises, the newer technology lies higher."""
    rng = np.random.default_rng(4)
    x = np.concatenate([rng.uniform(0, 20, 15), rng.uniform(15, 40, 15)])
    y = np.repeat([10.0, 100.0], 15) + rng.normal(0, 3, 30)
    result = trend(x, y, ["tube"] * 15 + ["solid state"] * 15)
    assert result.is_withheld
    assert "differ in level" in result.note
    lines = description_lines(result, "years", "")
    assert not any(line.startswith("all") for line in lines)


def test_groups_that_do_not_differ_keep_the_pooled_line_at_the_stated_rate() -> None:
    """The test of levels errs in 5 % of tables without a difference: 4 standard errors above."""
    rng = np.random.default_rng(6)
    groups = ["a"] * 12 + ["b"] * 12
    tables = 200
    withheld = sum(
        trend(x := rng.uniform(0, 1, 24), x + rng.normal(0, 1, 24), groups).note.endswith("given")
        for _ in range(tables)
    )
    assert withheld / tables < 0.05 + 4 * (0.05 * 0.95 / tables) ** 0.5


def test_an_interval_over_zero_is_no_relation_seen() -> None:
    x = np.arange(12.0)
    (line,) = description_lines(trend(x, np.sin(7 * x)), "years", "dB")
    assert line.startswith("all: no relation seen (")
