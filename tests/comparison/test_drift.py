"""The bench's control chart: steps found, noise and lone outliers not taken for one."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from backbench.comparison.drift import LevelChange, control
from backbench.errors import Refusal


def test_limits_by_hand() -> None:
    """Moving ranges 1, 1, 2, 1, median 1: sigma is 1 / 0.9539."""
    found = control([10.0, 11.0, 10.0, 12.0, 11.0])
    assert (found.centre, found.beyond, found.steps) == (11.0, (), ())
    assert found.sigma == pytest.approx(1 / 0.953872, rel=1e-5)
    assert found.high == pytest.approx(11 + 3 * found.sigma)


def test_a_step_is_found_at_its_first_value() -> None:
    rng = np.random.default_rng(5)
    values = np.concatenate([rng.normal(0, 1, 12), rng.normal(8, 1, 12)])
    assert control(values).steps == (12,)


def test_an_outlier_is_beyond_but_no_step() -> None:
    values = np.asarray([0.0, 1, 0, 1, 0, 1, 30, 1, 0, 1, 0, 1, 0])
    found = control(values)
    assert found.beyond == (6,)
    assert found.steps == ()


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
