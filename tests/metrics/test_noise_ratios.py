"""Idle noise referred to powers, to 2.83 V and to the input."""

from __future__ import annotations

import math

import pytest

from backbench.metrics.registry import registry
from backbench.metrics.session import Session
from bench_readings import derived, reading


def idle(value: float = 1e-4, metric: str = "noise", **more: object):  # type: ignore[no-untyped-def]
    given = {"stimulus": "idle", "frequency_hz": None, "generator_vrms": None, **more}
    return reading(metric, value, 0.01, 0.006, **given)


def test_one_watt_in_the_stated_load() -> None:
    """1 W in 8 ohm is 2.828 V: 89.03 dB above 0.1 mV (closed form)."""
    (eight,) = derived("snr_1w", [idle()])
    assert eight.figure.value == pytest.approx(20 * math.log10(math.sqrt(8) / 1e-4))
    assert eight.figure.detail == {"weighting": "none"}
    (four,) = derived("snr_1w", [idle(load_ohm=4.0)])
    assert eight.figure.value - four.figure.value == pytest.approx(10 * math.log10(2))
    # 1 % of noise and half of 0.5 % of load.
    assert eight.figure.uncertainty == pytest.approx(8.6859 * math.hypot(0.01, 0.0025), rel=1e-4)


def test_both_weightings_and_no_load() -> None:
    both = derived("snr_1w", [idle(), idle(5e-5, "noise_a")])
    assert [d.figure.detail["weighting"] for d in both] == ["none", "A"]
    assert derived("snr_1w", [idle(load_ohm=None)]) == []
    (open_,) = derived("snr_2v83", [idle(load_ohm=None)])
    assert open_.figure.value == pytest.approx(20 * math.log10(2.83 / 1e-4))


def test_a_bound_on_noise_is_a_bound_on_the_ratio() -> None:
    (result,) = derived("snr_2v83", [idle(bound="upper", status="at_floor")])
    assert result.figure.bound == "lower"


def test_rated_power_is_that_of_the_unit() -> None:
    derive = registry().metrics["snr_rated"].derive
    assert derive is not None
    (result,) = derive(Session([idle()], rated_power_w={"amp": 50.0, "other": 10.0}))
    assert result.figure.value == pytest.approx(20 * math.log10(math.sqrt(400) / 1e-4))
    assert list(derive(Session([idle()]))) == []


def test_noise_over_gain_at_the_same_settings() -> None:
    gain = reading("gain", 26.0, 0.001, 0.0, volume="full")
    (result,) = derived("input_referred_noise", [idle(volume="full"), gain])
    assert result.figure.value == pytest.approx(1e-4 / 10**1.3)
    # 1 % of the noise, 0.6 % of it its own; of the gain's 0.3 % all is the shared calibration.
    of_gain = 0.026 / 8.6859
    assert result.figure.uncertainty / result.figure.value == pytest.approx(
        math.sqrt(0.01**2 + of_gain**2 - 2 * of_gain**2), rel=1e-4
    )
    assert result.made_from[1] is gain


def test_calibrations_of_two_ranges_count_as_independent() -> None:
    gain = reading("gain", 26.0, 0.001, 0.0, calibration_key="bench/other range")
    (result,) = derived("input_referred_noise", [idle(), gain])
    assert result.figure.uncertainty / result.figure.value == pytest.approx(
        math.hypot(0.01, 0.026 / 8.6859), rel=1e-4
    )


@pytest.mark.parametrize(
    "other", [{"volume": "half"}, {"input": "phono"}, {"load_ohm": 4.0}, {"frequency_hz": 20.0}]
)
def test_no_gain_of_other_settings_is_taken(other: dict[str, object]) -> None:
    gain = reading("gain", 26.0, 0.001, 0.0, **{"volume": "full", **other})
    assert derived("input_referred_noise", [idle(volume="full"), gain]) == []


def test_a_gain_of_a_limited_output_is_not_taken() -> None:
    given = {"volume": "full", "analysis_key": "loud"}
    gain, loud = reading("gain", 20.0, 0.0005, 0.0, **given), reading("thd", 12.0, **given)
    assert derived("input_referred_noise", [idle(volume="full"), gain, loud]) == []
