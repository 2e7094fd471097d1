"""The bench's control chart: steps found, noise and lone outliers not taken for one."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from backbench.comparison.drift import LevelChange, control
from backbench.errors import Refusal


def test_limits_by_hand() -> None:
    """Moving ranges 1, 1, 2, 1, median 1: sigma is 1 / 0.9539."""
    result = control([10.0, 11.0, 10.0, 12.0, 11.0])
    assert (result.centre, result.beyond, result.steps) == (11.0, (), ())
    assert result.sigma == pytest.approx(1 / 0.953872, rel=1e-5)
    assert result.high == pytest.approx(11 + 3 * result.sigma)


def test_a_step_is_found_at_its_first_value() -> None:
    rng = np.random.default_rng(5)
    values = np.concatenate([rng.normal(0, 1, 12), rng.normal(8, 1, 12)])
    assert control(values).steps == (12,)


def test_an_outlier_is_beyond_but_no_step() -> None:
    values = np.asarray([0.0, 1, 0, 1, 0, 1, 30, 1, 0, 1, 0, 1, 0])
    result = control(values)
    assert result.beyond == (6,)
    assert result.steps == ()


def test_a_quiet_bench_seldom_shows_a_step() -> None:
    """At most 5 % of series of 20 normal values."""
    rng = np.random.default_rng(8)
    assert sum(bool(control(rng.normal(size=20)).steps) for _ in range(400)) <= 20


def test_few_values_are_refused() -> None:
    with pytest.raises(Refusal):
        control([1.0, 2.0, 3.0])


def test_days_on_either_side() -> None:
    step = LevelChange("b", "s", dt.date(2020, 1, 1), dt.date(2020, 2, 1), 0.0, 1.0, "dB")
    assert step.spans(dt.date(2020, 3, 1), dt.date(2019, 1, 1))
    assert not step.spans(dt.date(2020, 3, 1), dt.date(2020, 2, 1))
    assert not step.spans(dt.date(2019, 3, 1), dt.date(2020, 1, 1))


@pytest.mark.parametrize(
    ("values", "rule", "at"),
    [
        ([0, 0.5, 0, 0.5, 0, 0.5, 0, 3, 0.5, 3], "2 of 3 in a row more than 2 sigma above", 9),
        ([0.5, -1, 0, -1.6, -1.7, -0.4, -1.6, -1.9, 1, 0.5, 2, 1.4], "4 of 5", 7),
        ([1, 2, 1, 2, 1, 2, 1, 2, -1, -2, -1, -2, -1, -2, -1, -2], "8 in a row above", 7),
        ([0, 1, 0, 1, 2, 3, 4, 5, 0, 1, 0], "6 in a row rising", 7),
    ],
)  # fmt: skip
def test_run_rules(values: list[float], rule: str, at: int) -> None:
    """Rules of Western Electric (NIST/SEMATECH e-Handbook, 6.3.2)."""
    runs = [run for run in control(values).runs if rule in run.rule]
    assert [run.at for run in runs] == [at]


def test_a_slow_drift_is_seen_before_it_leaves_the_limits() -> None:
    rng = np.random.default_rng(3)
    result = control(0.12 * np.arange(20) + rng.normal(0, 1, 20))
    assert result.runs


def test_equal_values_break_no_rule() -> None:
    assert control([1.0] * 12).runs == ()
