"""Repeated captures, and gains of one output that should agree."""

from __future__ import annotations

import math

import pytest

from bench_readings import derived, one, reading


def gain(value: float, key: str, **more: object):  # type: ignore[no-untyped-def]
    return reading("gain", value, 1e-4, 1e-5, analysis_key=key, **more)


def test_a_capture_taken_three_times() -> None:
    levels = [reading("level", v, analysis_key=str(n)) for n, v in enumerate((2.00, 2.02, 1.98))]
    result = one("repeatability", levels).figure
    assert result.value == pytest.approx(1.0)
    assert result.dof == 2
    assert result.uncertainty == pytest.approx(0.5)
    assert result.detail == {"of": "output level", "captures": "3"}


def test_gain_in_decibels_is_spread_as_a_ratio() -> None:
    result = one("repeatability", [gain(20.0, "a"), gain(20 + 20 * math.log10(1.02), "b")]).figure
    assert result.value == pytest.approx(100 * 0.02 / math.sqrt(2) / 1.01, rel=1e-6)


@pytest.mark.parametrize(
    "other", [{"generator_vrms": 1.0}, {"volume": "half"}, {"minutes_on": 30.0}, {"load_ohm": 4.0}]
)
def test_other_conditions_are_no_repeat(other: dict[str, object]) -> None:
    levels = [reading("level", 2.0, analysis_key="a"),
              reading("level", 2.1, analysis_key="b", **other)]  # fmt: skip
    assert derived("repeatability", levels) == []


def test_one_capture_or_a_bound_is_no_repeat() -> None:
    assert derived("repeatability", [reading("thd", 0.1, analysis_key="a")]) == []
    bounds = [reading("thd", 0.1, analysis_key=k, bound="upper") for k in "ab"]
    assert derived("repeatability", bounds) == []


def test_gains_that_disagree_wildly_are_reported() -> None:
    """A drive stated ten times too high makes the gain 20 dB too low."""
    result = one("gain_spread", [gain(26.0, "a", generator_vrms=0.1),
                                gain(6.0, "b", generator_vrms=1.0)]).figure  # fmt: skip
    assert result.value == pytest.approx(20.0)
    assert "1 V and 100 mV" in (result.remark or "")
    assert "check their drive" in (result.remark or "")


def test_gains_that_agree_carry_no_remark() -> None:
    result = one("gain_spread", [gain(26.0, "a", generator_vrms=0.1),
                                gain(25.8, "b", generator_vrms=1.0)]).figure  # fmt: skip
    assert result.value == pytest.approx(0.2)
    assert result.remark is None


def test_a_limited_output_is_left_out() -> None:
    loud = {"generator_vrms": 1.0, "analysis_key": "b"}
    session = [gain(26.0, "a", generator_vrms=0.1), gain(26.1, "c", generator_vrms=0.2),
               reading("gain", 20.0, **loud), reading("thd", 12.0, **loud)]  # fmt: skip
    assert one("gain_spread", session).figure.value == pytest.approx(0.1)
