"""Drift over captures that state their minutes since switching on."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backbench.metrics.session import Reading
from bench_readings import derived, one, reading, refused

NORRIS = Path(__file__).parents[1] / "reference" / "tables" / "nist_norris_data.csv"


def series(
    metric: str, values: list[float], minutes: list[float], own: float = 1e-4, **more: object
) -> list[Reading]:
    return [
        reading(metric, value, 0.005, own, minutes_on=at, analysis_key=str(at), **more)
        for value, at in zip(values, minutes, strict=True)
    ]


@given(st.floats(-3, 3), st.floats(10, 40))
def test_a_straight_drift_of_gain(rate: float, gain: float) -> None:
    minutes = [0.0, 10.0, 30.0, 60.0]
    readings = series("gain", [gain + rate * m / 60 for m in minutes], minutes, 1e-6)
    assert one("gain_drift_rate", readings).figure.value == pytest.approx(rate, abs=1e-9)
    assert one("gain_drift", readings).figure.value == pytest.approx(abs(rate), abs=1e-9)


def test_certified_slope_and_its_standard_deviation() -> None:
    """NIST StRD, Norris: B1 = 1.00211681802045, sd 0.000429796848199937 (read in scipy's copy)."""
    table = pl.read_csv(NORRIS)
    readings = [
        reading("gain", y, 0.0, 0.0, minutes_on=x, analysis_key=str(n))
        for n, (y, x) in enumerate(table.iter_rows())
    ]
    result = one("gain_drift_rate", readings).figure
    assert result.value / 60 == pytest.approx(1.00211681802045, rel=1e-12)
    assert result.uncertainty / 60 == pytest.approx(0.000429796848199937, rel=1e-11)
    assert result.dof == 34


@pytest.mark.parametrize(("metric", "name"), [("thd", "distortion"), ("noise", "noise")])
def test_ratios_drift_in_decibels(metric: str, name: str) -> None:
    """Half of it after an hour: 6.02 dB."""
    readings = series(metric, [0.2, 0.2 / math.sqrt(2), 0.1], [0.0, 30.0, 60.0])
    assert one(f"{name}_drift", readings).figure.value == pytest.approx(20 * math.log10(2))
    assert one(f"{name}_drift_rate", readings).figure.value == pytest.approx(-20 * math.log10(2))


def test_the_uncertainty_covers_the_scatter() -> None:
    """Of 300 series with known slope, about 95 % lie within two standard uncertainties."""
    rng = np.random.default_rng(4)
    minutes = np.arange(0.0, 70.0, 5.0)
    inside = 0
    for _ in range(300):
        values = 26 - 0.4 * minutes / 60 + 0.01 * rng.standard_normal(len(minutes))
        result = one("gain_drift_rate", series("gain", values.tolist(), minutes.tolist())).figure
        inside += abs(result.value + 0.4) <= 2.16 * result.uncertainty
    assert 0.91 <= inside / 300 <= 0.99


def test_two_captures_are_refused_and_one_time_tells_nothing() -> None:
    two = series("gain", [26.0, 26.1], [0.0, 30.0])
    assert "2 captures of a timed series where 3 are needed" in refused("gain_drift", two).reason
    assert "3 are needed" in refused("gain_drift_rate", two).reason
    assert derived("gain_drift", series("gain", [26.0, 26.1, 26.2], [30.0, 30.0, 30.0])) == []


def test_other_conditions_are_another_series() -> None:
    warm = series("gain", [26.0, 26.1, 26.3], [0.0, 20.0, 40.0])
    other = series("gain", [20.0, 20.0, 20.0], [1.0, 2.0, 3.0], load_ohm=4.0)
    values = sorted(d.figure.value for d in derived("gain_drift", warm + other))  # type: ignore[union-attr]
    assert values == pytest.approx([0.0, 0.3])
