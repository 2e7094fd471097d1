"""Rank intervals: cases by hand, bounds, unknown uncertainties, properties."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.errors import Refusal
from backbench.statistics import ranks
from backbench.statistics.ranks import Values, interval_text, of_one, oriented, simultaneous


def values(value: list[float], u: Any = 0.0, better: str = "lower", **more: Any) -> Values:
    us = u if isinstance(u, list) else [u] * len(value)
    return oriented(value, us, better, **more)


def test_certain_values_have_one_rank_each() -> None:
    assert simultaneous(values([3.0, 1.0, 2.0])).tolist() == [[3, 3], [1, 1], [2, 2]]


def test_equal_values_are_tied() -> None:
    assert simultaneous(values([1.0, 1.0, 2.0])).tolist() == [[1, 2], [1, 2], [3, 3]]


def test_within_uncertainty_is_tied() -> None:
    assert simultaneous(values([1.0, 1.1, 9.0], 0.1)).tolist() == [[1, 2], [1, 2], [3, 3]]


@pytest.mark.parametrize(
    ("better", "expected"),
    [("lower", [1, 2, 3]), ("higher", [3, 2, 1]), ("nearer zero", [3, 1, 2])],
)
def test_directions(better: str, expected: list[int]) -> None:
    result = simultaneous(values([-5.0, 1.0, 3.0], better=better))
    assert result[:, 0].tolist() == expected


def test_an_upper_bound_is_never_shown_to_be_worse() -> None:
    result = values([1.0, 5.0, 9.0], bound=[None, "upper", None])
    assert simultaneous(result).tolist() == [[1, 2], [1, 2], [3, 3]]


def test_a_lower_bound_is_never_shown_to_be_better() -> None:
    result = values([1.0, 5.0, 9.0], bound=[None, "lower", None])
    assert simultaneous(result).tolist() == [[1, 1], [2, 3], [2, 3]]


def test_bounds_turn_with_the_direction() -> None:
    result = values([100.0, 50.0], better="higher", bound=["lower", None])
    assert simultaneous(result).tolist() == [[1, 1], [2, 2]]
    result = values([50.0, 100.0], better="higher", bound=["lower", None])
    assert simultaneous(result).tolist() == [[1, 2], [1, 2]]


def test_unknown_uncertainty_claims_nothing() -> None:
    result = simultaneous(values([1.0, 2.0, 3.0], [0.0, None, 0.0]))
    assert result.tolist() == [[1, 2], [1, 3], [2, 3]]


def test_few_degrees_of_freedom_widen() -> None:
    loose = oriented([0.0, 3.8], [1.0, 1.0], "lower", dof=[2.0, 2.0])
    tight = oriented([0.0, 3.8], [1.0, 1.0], "lower", dof=[None, None])
    assert of_one(loose, 0) == (1, 2)
    assert of_one(tight, 0) == (1, 1)


def test_p_values_are_those_of_the_normal_distribution() -> None:
    """z = 3 / 5: p = 0.2742531 (one-sided tail, computed with the error function)."""
    result = ranks.below(values([0.0, 3.0], [3.0, 4.0]))
    assert result[0, 1] == pytest.approx(0.27425311775007355, rel=1e-9)
    assert result[1, 0] == pytest.approx(1 - 0.27425311775007355, rel=1e-9)


def test_holm_by_hand() -> None:
    """0.01 <= 0.05/4, 0.015 <= 0.05/3, 0.03 > 0.05/2: two rejected."""
    result = ranks.holm(np.asarray([0.03, 0.01, 0.04, 0.015]), 0.05)
    assert result.tolist() == [False, True, False, True]


measured = st.lists(
    st.tuples(st.floats(-100, 100), st.floats(1e-3, 10)), min_size=2, max_size=12
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(measured)
def test_one_unit_alone_is_never_wider_than_all_together(pairs: list[tuple[float, float]]) -> None:
    result = values([v for v, _ in pairs], [u for _, u in pairs])
    together = simultaneous(result)
    for index, (low, high) in enumerate(together):
        alone = of_one(result, index)
        assert low <= alone[0] <= alone[1] <= high


@settings(max_examples=60, deadline=None)
@given(measured, st.floats(-50, 50), st.floats(0.1, 10))
def test_shift_and_scale_change_nothing(
    pairs: list[tuple[float, float]], shift: float, scale: float
) -> None:
    v, u = np.asarray([p[0] for p in pairs]), np.asarray([p[1] for p in pairs])
    spaced = np.round(v, 1)
    before = simultaneous(oriented(spaced, u, "lower"))
    after = simultaneous(oriented(spaced * scale + shift, u * scale, "lower"))
    far = np.abs(ranks.below(oriented(spaced, u, "lower")) - 0.05 / (v.size * (v.size - 1)))
    if np.min(far) > 1e-9:
        assert np.array_equal(before, after)


def test_intervals_cover_the_true_ranks_together() -> None:
    """Every true rank of 12 units inside its interval in at least 95 % of tables.

    300 tables: with a coverage of 95 %, fewer than 275 covered has a probability below 0.5 %.
    """
    rng = np.random.default_rng(7)
    covered = 0
    for _ in range(300):
        truth = np.sort(rng.normal(0, 2, 12))
        u = rng.uniform(0.2, 1.5, 12)
        result = simultaneous(oriented(rng.normal(truth, u), u, "lower"))
        place = np.arange(1, 13)
        covered += bool(np.all((result[:, 0] <= place) & (place <= result[:, 1])))
    assert covered >= 275


def test_percentile_counts_ties_half() -> None:
    assert ranks.percentile(values([1.0, 2.0, 2.0, 3.0, 4.0]), 1) == 62.5
    with pytest.raises(Refusal):
        ranks.percentile(values([1.0]), 0)


@pytest.mark.parametrize(
    ("low", "high", "n", "printed"),
    [(3, 7, 41, "3rd to 7th of 41"), (1, 1, 2, "1st of 2"), (11, 22, 103, "11th to 22nd of 103"),
     (12, 13, 13, "12th to 13th of 13"), (101, 112, 200, "101st to 112th of 200"),
     (1, 21, 23, "not told apart from its 22 peers"), (1, 20, 23, "1st to 20th of 23"),
     (1, 1, 1, "1st of 1")],
)  # fmt: skip
def test_places_in_words(low: int, high: int, n: int, printed: str) -> None:
    assert interval_text(low, high, n) == printed


def test_values_must_be_finite() -> None:
    with pytest.raises(ValueError, match="finite"):
        values([1.0, float("nan")])
