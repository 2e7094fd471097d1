"""Readings of impedance and response tables against closed forms and numpy's own figures."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backbench.documents.conditions import Conditions
from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.metrics.declaration import CaptureData
from backbench.metrics.measurement import measure
from tones import figures, reasons

HZ = 10.0 ** np.linspace(1, 4.6, 73)
UNITS = {"frequency": "Hz", "magnitude": "ohm", "phase": "deg"}


def given(kind: str, table: dict[str, np.ndarray], generator_vrms: float | None = None,
          **units: str) -> CaptureData:  # fmt: skip
    named = {key: TableColumn(name=key, unit=units.get(key, UNITS.get(key, "V"))) for key in table}
    stimulus = Table(table=kind, columns=named, generator_vrms=generator_vrms or "unknown")  # type: ignore[arg-type]
    return CaptureData(stimulus, Conditions(load_ohm=8.0), {}, table=table)


def coil(hz: np.ndarray) -> np.ndarray:
    """0.4 ohm and 20 uH, with 470 uF in series."""
    w = 2 * np.pi * hz
    return 0.4 + 1j * w * 20e-6 + 1 / (1j * w * 470e-6)


def readings(data: CaptureData, metric: str) -> dict[float, tuple[float, float]]:
    return {
        f.figure.frequency_hz or 0.0: (f.figure.value, f.figure.uncertainty)
        for f in measure(data)[0] if f.metric.name == metric and f.figure is not None
    }  # fmt: skip


def test_magnitude_phase_and_minimum_of_an_impedance() -> None:
    z = coil(HZ)
    table = {"frequency": HZ, "magnitude": np.round(np.abs(z), 4),
             "phase": np.round(np.degrees(np.angle(z)), 2)}  # fmt: skip
    data = given("impedance", table)
    for name, of in {
        "impedance_at": np.abs,
        "impedance_phase_at": lambda value: np.degrees(np.angle(value)),
    }.items():
        by_hz = readings(data, name)
        assert sorted(by_hz) == [20.0, 100.0, 1000.0, 10_000.0, 20_000.0]
        for hz, (value, u) in by_hz.items():
            assert abs(value - float(of(coil(np.array([hz])))[0])) <= 2 * u + 1e-9, (name, hz)
    (least,) = readings(data, "impedance_minimum").items()
    assert least[0] == pytest.approx(1 / (2 * math.pi * math.sqrt(20e-6 * 470e-6)), rel=0.13)
    assert least[1][0] == pytest.approx(np.abs(z).min(), abs=1e-4)


def test_a_minimum_at_an_end_is_a_bound_and_no_phase_is_stated() -> None:
    table = {"frequency": np.array([1000.0, 2000.0]), "magnitude": np.array([1.0, 2.0])}
    data = given("impedance", table)
    assert figures(data)["impedance_minimum"].bound == "upper"
    assert "no phase" in reasons(data)["impedance_phase_at"][1]


def test_gain_of_a_response_from_the_generators_column_or_level() -> None:
    output = 2.0 / np.sqrt(1 + (HZ / 30_000) ** 2)
    at_1khz = 2.0 / math.sqrt(1 + (1 / 30) ** 2)
    source = 0.1 * (1 + HZ / 1e6)
    table = {"frequency": HZ, "level": output, "generator": source}
    result = figures(given("response", table))
    assert result["gain"].value == pytest.approx(20 * math.log10(at_1khz / 0.1001), abs=1e-3)
    shape = 20 * math.log10(float(np.interp(20_000, HZ, output / source)) / (at_1khz / 0.1001))
    curve = next(
        trace for trace in measure(given("response", table))[1] if trace.name == "response"
    )
    assert np.interp(20_000, curve.data.x, curve.data.y) == pytest.approx(shape, abs=0.01)
    table = {"frequency": HZ, "level": 20 * np.log10(output)}
    stated = figures(given("response", table, 0.1, level="dBV"))["gain"]
    assert stated.value == pytest.approx(20 * math.log10(at_1khz / 0.1), abs=1e-3)
    dbu = {"frequency": HZ, "level": 20 * np.log10(output / math.sqrt(0.6))}
    again = figures(given("response", dbu, 0.1, level="dBu"))["gain"]
    assert again.value == pytest.approx(stated.value, abs=1e-6)


def test_a_relative_response_gives_no_gain() -> None:
    table = {"frequency": HZ, "level": np.zeros(len(HZ))}
    assert reasons(given("response", table, 0.1, level="dB"))["gain"][0] == "not_applicable"
