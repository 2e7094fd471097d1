"""Input for a stated output and at a distortion limit, across captures."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.metrics.registry import registry
from backbench.metrics.session import Derived, Reading, RefusedDerivation, Session
from bench_readings import reading

Given = Derived | RefusedDerivation


def captures(
    inputs: list[float], gain: float = 20.0, percent: list[float] | None = None, **more: object
) -> list[Reading]:
    """Tones at these inputs through a gain (ratio): level, gain and distortion of each."""
    result = []
    for n, volts in enumerate(inputs):
        out = volts * gain
        like = {"analysis_key": str(n), "generator_vrms": volts, "power_w": out**2 / 8, **more}
        db = 20 * math.log10(gain)
        result += [
            reading("level", out, 0.004, 0.0005, **like),
            reading("gain", db, 8.686 * 0.005 / db, 0.001 / db, **like),
        ]
        if percent:
            result.append(reading("thd_wide", percent[n], 0.01, 0.01, **like))
    return result


def derived(name: str, readings: list[Reading], rated: float | None = 50.0) -> list[Given]:
    derive = registry().metrics[name].derive
    assert derive is not None
    return list(derive(Session(readings, rated_power_w={"amp": rated} if rated else {})))


def test_input_for_one_watt_and_for_rated_power() -> None:
    """Closed form: sqrt(P R) over the gain."""
    one, rated = derived("sensitivity", captures([0.05, 0.2, 0.5, 1.2]))
    assert isinstance(one, Derived)
    assert isinstance(rated, Derived)
    assert one.figure.detail == {"for": "1 W"}
    assert one.figure.value == pytest.approx(math.sqrt(8) / 20, rel=1e-9)
    assert rated.figure.value == pytest.approx(20 / 20, rel=1e-9)
    assert (one.power_w, rated.power_w) == (1.0, 50.0)
    # Input 0.3 % (the gain's less the output's), output 0.4 %, half of the load's 0.5 %.
    expected = math.sqrt(0.003**2 + 0.004**2 + 0.0025**2)
    assert one.figure.uncertainty / one.figure.value == pytest.approx(expected, rel=0.01)


def test_never_beyond_what_was_measured() -> None:
    one, rated = derived("sensitivity", captures([0.2, 0.5]))
    assert isinstance(one, RefusedDerivation)
    assert isinstance(rated, RefusedDerivation)
    assert "which does not hold 2.83 V; record a tone at an output of 2.83 V or" in one.reason
    assert derived("sensitivity", captures([0.2])) == []


def test_an_output_without_a_load_refers_to_half_a_volt() -> None:
    (result,) = derived("sensitivity", captures([0.01, 0.1], load_ohm=None, power_w=None))
    assert isinstance(result, Derived)
    assert result.figure.value == pytest.approx(0.5 / 20, rel=1e-9)
    assert result.figure.detail == {"for": "0.5 V"}


def test_a_unit_that_states_no_rated_power_has_one_figure() -> None:
    assert len(derived("sensitivity", captures([0.05, 0.2, 0.5]), rated=None)) == 1


def test_compression_between_levels_is_in_the_uncertainty() -> None:
    straight = captures([0.05, 0.2, 0.5, 1.2])
    bent = captures([0.05, 0.2, 0.5]) + captures([1.2], gain=17.5, analysis_key="last")
    for readings, least, most in ((straight, 0.0, 1e-9), (bent, 1e-3, 0.1)):
        rated = derived("sensitivity", readings)[1]
        assert isinstance(rated, Derived)
        own = math.sqrt(max((rated.figure.estimation / rated.figure.value) ** 2 - 0.0005**2, 0))
        assert least <= own <= max(most, 2e-4)


@settings(max_examples=20, deadline=None)
@given(st.floats(0.1, 10.0))
def test_scaling_the_inputs_scales_the_sensitivity(scale: float) -> None:
    as_is = derived("sensitivity", captures([0.05, 0.2, 0.5, 1.2]))
    scaled = derived(
        "sensitivity", captures([v * scale for v in (0.05, 0.2, 0.5, 1.2)], 20 / scale)
    )
    for one, other in zip(as_is, scaled, strict=True):
        assert isinstance(one, Derived)
        assert isinstance(other, Derived)
        assert other.figure.value == pytest.approx(scale * one.figure.value, rel=1e-9)


def test_input_at_a_distortion_limit() -> None:
    """Distortion that rises as the square of the input, 0.01 % at 0.1 V: 1 % at 1 V."""
    inputs = [0.1, 0.3, 0.7, 1.5, 2.0]
    percent = [0.01 * (v / 0.1) ** 2 for v in inputs]
    result = {
        d.figure.limit_percent: d.figure
        for d in derived("input_at_limit", captures(inputs, percent=percent))
        if isinstance(d, Derived)
    }
    assert result[1.0].value == pytest.approx(1.0, rel=1e-6)
    assert result[0.1].value == pytest.approx(0.1 * math.sqrt(10), rel=1e-6)
    assert result[10.0].bound == "lower"
    assert result[10.0].value == pytest.approx(2.0)


def test_an_input_is_refused_where_distortion_never_was_below_the_limit() -> None:
    given_ = derived("input_at_limit", captures([0.1, 0.2, 0.4], percent=[0.5, 0.6, 2.0]))
    assert isinstance(given_[0], RefusedDerivation)
    assert given_[0].limit_percent == 0.1
    assert "0.5 % or more" in given_[0].reason


def test_an_output_driven_alone_does_not_count() -> None:
    assert derived("sensitivity", captures([0.05, 0.2, 0.5], driven="left")) == []
