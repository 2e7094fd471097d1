"""Traces of a supply's ripple and of bursts against the waves that they were made from."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backbench.documents.conditions import Conditions
from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.metrics.declaration import CaptureData
from backbench.metrics.supply_ripple import LAST_MULTIPLE
from sine_traces import instants
from squares import COLUMNS
from tones import figures, reasons


def supply(time: np.ndarray, mean: float, swing: float, noise: float = 0.0) -> np.ndarray:
    """A reservoir charged a hundred times a second: a rising and a falling straight line."""
    part = (time * 100) % 1
    wave = np.where(part < 0.2, part / 0.2, 1 - (part - 0.2) / 0.8) - 0.5
    noisy = np.random.default_rng(1).normal(0, noise, len(time))
    volts = mean + swing * wave + noisy
    step = swing / 150
    return np.round(volts / step) * step


def ripple(time: np.ndarray, volts: np.ndarray) -> CaptureData:
    stimulus = Table(table="trace", columns=COLUMNS, ripple="reservoir")
    table = {"time": time, "voltage": volts}
    return CaptureData(stimulus, Conditions(), {}, table=table, mains_hz=50.0)


def test_the_mean_and_ripple_of_a_supply() -> None:
    """Closed form: a straight up and down has the rms of its swing over the root of 12."""
    time = instants(5000, 0.05)
    result = figures(ripple(time, supply(time, 320.0, 9.0, noise=0.05)))
    assert result["supply_voltage"].value == pytest.approx(320.0, abs=0.1)
    assert result["supply_ripple"].value == pytest.approx(9.0 / math.sqrt(12), rel=0.01)
    assert result["supply_ripple_swing"].value == pytest.approx(9.0, rel=0.06)
    assert result["supply_ripple_line 2"].value == max(
        figure.value for name, figure in result.items() if name.startswith("supply_ripple_line")
    )
    assert result["supply_ripple"].detail == {"supply": "reservoir"}


def test_a_ripple_line_as_numpy_has_it_over_whole_periods() -> None:
    time = instants(8000, 0.06)
    volts = supply(time, 0.0, 1.0, noise=0.01)
    line = abs(np.fft.rfft(volts)[6]) * 2 / len(volts) / math.sqrt(2)
    result = figures(ripple(time, volts))
    assert abs(result["supply_ripple_line 2"].value - line) < 1e-4
    refused = reasons(ripple(time, volts))
    assert "without DC" in refused["supply_voltage"][1]
    assert LAST_MULTIPLE * 50 == 2000


def test_what_is_no_ripple_is_refused() -> None:
    time = instants(5000, 0.05)
    other = np.cos(2 * np.pi * 1234.5 * time)
    assert "no ripple of the mains" in reasons(ripple(time, other))["supply_ripple"][1]


def bursts(time: np.ndarray, peak: float) -> np.ndarray:
    on = (time - 2e-3) % 40e-3 < 20e-3
    return peak * np.sin(2 * np.pi * 1000 * (time - 2e-3)) * (on & (time > 2e-3))


@pytest.mark.parametrize("uneven", [False, True])
def test_a_trace_of_bursts(uneven: bool) -> None:
    time = instants(20_000, 0.1, uneven=uneven)
    volts = bursts(time, 4.0) + np.random.default_rng(3).normal(0, 4e-3, len(time))
    stimulus = Table(table="trace", columns=COLUMNS, burst_hz=1000.0, on_ms=20.0, period_ms=40.0)
    given = CaptureData(
        stimulus, Conditions(load_ohm=8.0), {}, table={"time": time, "voltage": volts},
        mains_hz=50.0,
    )  # fmt: skip
    if uneven:
        assert "uneven" in reasons(given)["burst_level"][1]
        return
    result = figures(given)
    assert "own error was not declared" in str(result["burst_level"].remark)
    assert result["burst_level"].value == pytest.approx(4 / math.sqrt(2), rel=2e-3)
    assert result["burst_power"].value == pytest.approx(1.0, rel=4e-3)


def test_declared_limits_are_in_the_uncertainty_of_bursts() -> None:
    """0.1 V of 10 V and 2 % of 4 V, each a rectangular limit."""
    time = instants(20_000, 0.1)
    limits = TableColumn(name="v", unit="V", percent_of_reading=2.0, percent_of_range=1.0, range=10)
    stimulus = Table(
        table="trace", columns=COLUMNS | {"voltage": limits}, burst_hz=1000.0, on_ms=20.0,
        period_ms=40.0,
    )  # fmt: skip
    table = {"time": time, "voltage": bursts(time, 4.0)}
    level = figures(CaptureData(stimulus, Conditions(), {}, table=table))["burst_level"]
    expected = math.hypot(0.02, 0.1 / 4) / math.sqrt(3)
    assert level.uncertainty == pytest.approx(expected * level.value, rel=0.02)
    assert level.remark is None


def test_the_last_digits_of_the_instrument_are_in_the_uncertainty() -> None:
    """3 units of the last digit, 0.01 V, as a rectangular limit: 0.0173 V."""
    time = instants(20_000, 0.1)
    digits = TableColumn(name="v", unit="V", last_digits=3)
    columns, expected = COLUMNS | {"voltage": digits}, 0.03 / math.sqrt(3)
    own = math.hypot(0.01 / math.sqrt(12), expected)
    sine = np.round(4 * np.sin(2 * np.pi * 1000 * time), 2)
    hum = np.round(0.5 * np.cos(2 * np.pi * 100 * time), 2)
    for volts, played, name, scale in (
        (bursts(time, 4.0), {"burst_hz": 1000.0, "on_ms": 20.0, "period_ms": 40.0}, "burst_level",
         1 / math.sqrt(2)),
        (sine, {"tone_hz": 1000.0}, "level", 1 / math.sqrt(2)),
        (hum, {"ripple": "rail"}, "supply_ripple", 1.0),
    ):  # fmt: skip
        stimulus = Table(table="trace", columns=columns, **played)  # type: ignore[arg-type]
        table = {"time": time, "voltage": np.round(volts, 2)}
        for read in ({}, {"voltage": np.full(len(time), own)}):
            given = CaptureData(
                stimulus, Conditions(), {}, table=table, table_uncertainty=read, mains_hz=50.0
            )
            figure = figures(given)[name]
            assert figure.uncertainty == pytest.approx(scale * expected, rel=0.03)
            assert figure.remark is None
