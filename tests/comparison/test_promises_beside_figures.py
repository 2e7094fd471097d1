"""A specification stands beside a figure only where that very reading was held against it."""

from __future__ import annotations

from typing import Any

import pytest

from backbench.comparison.standings import Standing
from backbench.comparison.summary import standing_out
from backbench.comparison.unit_comparison import Comparison, compare_unit
from backbench.publish.scorecard import heading, promise_text, ranked
from backbench.storage.database import reading


def _compared(given: Any) -> Comparison:
    with reading(given.build()) as store:
        return compare_unit(store, "a")


def _powers(given: Any, unit: str, at_1: float, at_3: float) -> None:
    for limit, watts in ((1.0, at_1), (3.0, at_3)):
        given.reading(unit, "power_at_limit", watts, 0.05, under="steps", limit_percent=limit)


def _shelf(given: Any) -> None:
    """Unit a with 18.6 W at 1 %, 22.5 W at 3 %, and six units of less power."""
    for k in range(7):
        unit = "abcdefg"[k]
        given.unit(unit)
        _powers(given, unit, 18.6 - k, 22.5 - k)
        given.reading(unit, "thd", 0.1 + 0.01 * k, 0.0001)
    given.reading("a", "thd", 0.15, 0.0001, power_w=10.0)


def _line(compared: Comparison, metric: str, limit: float | None = None) -> Standing:
    return next(n for n in compared.lines if (n.metric, n.limit_percent) == (metric, limit))


def _text(compared: Comparison, metric: str, limit: float | None = None) -> str:
    own = [v for v in compared.verdicts if v.metric == metric]
    return promise_text(_line(compared, metric, limit), own)


def test_a_promise_at_another_limit_has_its_own_value(given: Any) -> None:
    _shelf(given)
    given.published("a", "power_at_limit", "at least", 20.0, limit_percent=3.0, printed="20 W")
    assert _text(_compared(given), "power_at_limit", 1.0) == (
        "specified at least 20 W at 3\u00a0%: measured 22.50\u00a0W there, meets"
    )


def test_a_promise_at_the_same_limit_stands_beside_the_figure(given: Any) -> None:
    _shelf(given)
    given.published("a", "power_at_limit", "at least", 20.0, limit_percent=1.0, printed="20 W")
    assert _text(_compared(given), "power_at_limit", 1.0) == "specified at least 20 W: fails"


def test_a_promise_at_another_power_has_its_own_value(given: Any) -> None:
    _shelf(given)
    given.published("a", "thd", "at most", 0.2, power_w=10.0, printed="0.2 %")
    assert _text(_compared(given), "thd") == (
        "specified at most 0.2 % at 10\u00a0W: measured 0.1500\u00a0% there, meets"
    )


def test_a_value_between_two_steps_is_not_that_of_the_lower_step(given: Any) -> None:
    _shelf(given)
    given.published("a", "thd", "at most", 0.2, power_w=7.0, printed="0.2 %")
    given.reading("a", "thd", 0.3, 0.0001, power_w=20.0)
    text = _text(_compared(given), "thd")
    assert text.startswith("specified at most 0.2 % at 7\u00a0W: measured 0.12")
    assert text.endswith("\u00a0% there, meets")


def test_a_promise_that_was_not_measured_has_no_value(given: Any) -> None:
    _shelf(given)
    given.published("a", "thd", "at most", 0.2, power_w=15.0, printed="0.2 %")
    assert _text(_compared(given), "thd") == (
        "specified at most 0.2 % at 15\u00a0W: measured under other conditions"
    )


@pytest.mark.parametrize("promised", [1.0, 3.0])
def test_the_heading_counts_what_the_first_sentences_count(given: Any, promised: float) -> None:
    _shelf(given)
    given.published("a", "power_at_limit", "at least", 20.0, limit_percent=promised, printed="20 W")
    compared = _compared(given)
    best, worst = standing_out(compared.lines)
    assert (len(best), len(worst)) == (2, 0)
    assert compared.sentences[0].count("1st of 7") == 2
    met = "meets 1 of 1 specification tested" if promised == 3.0 else "meets 0 of 1"
    assert heading(compared).startswith(
        f"{compared.label}: in the best quarter for 2 of 2 figures; {met}"
    )
    assert {line.metric for line in ranked(compared.lines)[:2]} == {"power_at_limit", "thd"}
