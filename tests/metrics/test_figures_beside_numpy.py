"""A file of each kind of trace and table, read and measured, beside plain numpy on its columns.

numpy's figure needs no uncertainty of ours: it has to lie within it.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from backbench.documents.conditions import Conditions
from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.metrics.declaration import CaptureData, MeasuredValue
from backbench.metrics.measurement import measure
from backbench.readers.file_formats import read_table


def measured(
    folder: Path, kind: str, table: dict[str, tuple[str, np.ndarray]], **stated: object
) -> tuple[dict[str, np.ndarray], dict[str, MeasuredValue]]:
    """The columns as written to a file with seven digits, and the figures of that file."""
    text = [f"{value:.7g}" for _, values in table.values() for value in values]
    rows = np.array(text).reshape(len(table), -1).T
    path = folder / "t.csv"
    path.write_text("\n".join([",".join(table), *(",".join(row) for row in rows)]) + "\n")
    columns = {key: TableColumn(name=key, unit=unit) for key, (unit, _) in table.items()}
    stimulus = Table(table=kind, columns=columns, **stated)  # type: ignore[arg-type]
    read = read_table(path, stimulus)
    capture_data = CaptureData(
        stimulus, Conditions(load_ohm=8.0), {}, table=read.columns,
        table_uncertainty=read.uncertainty, mains_hz=50.0,
    )  # fmt: skip
    result = {}
    for finding in measure(capture_data)[0]:
        figure = finding.figure
        if figure is not None:
            at = "" if figure.frequency_hz is None else f" {figure.frequency_hz:g}"
            order = "" if figure.order is None else f" {figure.order}"
            result[f"{finding.metric.name}{at}{order}"] = figure
    return {key: rows.T[n].astype(float) for n, key in enumerate(table)}, result


def within(figure: MeasuredValue, expected: float, least: float = 0.0) -> None:
    assert figure.bound is None
    assert abs(figure.value - expected) <= 2.5 * figure.uncertainty + least, (figure, expected)


def steps(volts: np.ndarray, bits: int) -> np.ndarray:
    step = 2.5 * np.abs(volts).max() / 2**bits
    return np.asarray(np.round(volts / step) * step)


@pytest.mark.parametrize("bits", [8, 10, 12])
def test_a_sine(tmp_path: Path, bits: int) -> None:
    time = np.arange(5000) * 2e-6
    out = steps(3 * np.cos(2 * np.pi * 1000 * time + 0.4), bits)
    source = steps(0.3 * np.cos(2 * np.pi * 1000 * time), bits)
    table = {"time": ("s", time), "voltage": ("V", out), "generator": ("V", source)}
    given, result = measured(tmp_path, "trace", table, tone_hz=1000.0)
    lines = [np.fft.rfft(given[key])[10] * 2 / 5000 for key in ("voltage", "generator")]
    within(result["level"], abs(lines[0]) / math.sqrt(2))
    within(result["gain"], 20 * math.log10(abs(lines[0] / lines[1])))
    within(result["gain_phase"], math.degrees(np.angle(lines[0] / lines[1])))
    within(result["tone_frequency"], 1000.0, 1e-4)


def test_the_edge_of_a_square_wave(tmp_path: Path) -> None:
    """numpy's instants of 10 % and 90 % between the median levels, no instrument taken off."""
    time = np.arange(6000) * 5e-7
    volts = steps(np.clip(40 * np.sin(2 * np.pi * 1000 * time + 0.5) / 3, -1, 1), 10)
    given, result = measured(
        tmp_path, "trace", {"time": ("s", time), "voltage": ("V", volts)}, square_hz=1000.0,
        rise_time_s=1e-9, probe_rise_time_s=1e-9,
    )  # fmt: skip
    low, high = np.median(given["voltage"][volts < 0]), np.median(given["voltage"][volts > 0])
    share = (given["voltage"] - low) / (high - low)
    first = int(np.flatnonzero((share[:-1] < 0.5) & (share[1:] >= 0.5))[0])
    edge = slice(first - 30, first + 30)
    at = np.interp([0.1, 0.9], np.maximum.accumulate(share[edge]), given["time"][edge])
    within(result["rise_time"], float(at[1] - at[0]))
    within(result["state_high"], float(high))
    within(result["state_low"], float(low))


def test_bursts(tmp_path: Path) -> None:
    time = np.arange(12_000) * 1e-5
    on = (time + 0.045) % 0.05 < 0.02
    volts = steps(np.where(on, 2 * np.sin(2 * np.pi * 1000 * time), 0.0), 12)
    given, result = measured(
        tmp_path, "trace", {"time": ("s", time), "voltage": ("V", volts)}, burst_hz=1000.0,
        on_ms=20.0, period_ms=50.0,
    )  # fmt: skip
    within(result["burst_level"], float(np.sqrt(np.mean(given["voltage"][on] ** 2))), 2e-3)
    within(result["burst_peak"], float(np.abs(given["voltage"]).max()), 2e-3)


def test_ripple(tmp_path: Path) -> None:
    time = np.arange(6000) * 1e-5
    wave = 0.5 * np.cos(2 * np.pi * 100 * time) + 0.1 * np.cos(2 * np.pi * 200 * time + 1)
    volts = 48 + steps(wave, 8)
    given, result = measured(
        tmp_path, "trace", {"time": ("s", time), "voltage": ("V", volts)}, ripple="output stage"
    )
    within(result["supply_voltage"], float(given["voltage"].mean()), 1e-3)
    within(result["supply_ripple"], float(given["voltage"].std()), 1e-3)


HZ = np.geomspace(10, 40_000, 61)


def test_a_response(tmp_path: Path) -> None:
    ratio = 4 / (1 + 1j * HZ / 30_000) / (1 + 8 / (1j * HZ))
    table = {"frequency": ("Hz", HZ), "level": ("V", np.abs(ratio)),
             "generator": ("V", np.full(61, 0.2))}  # fmt: skip
    given, result = measured(tmp_path, "response", table)
    decibels = 20 * np.log10(given["level"] / given["generator"])
    at = {hz: float(np.interp(np.log(hz), np.log(given["frequency"]), decibels))
          for hz in (20.0, 1000.0, 10_000.0)}  # fmt: skip
    within(result["gain 1000"], at[1000.0], 1e-6)
    for hz in (20.0, 10_000.0):
        within(result[f"response_at {hz:g}"], at[hz] - at[1000.0], 1e-6)


def test_an_impedance(tmp_path: Path) -> None:
    z = 6 + 2j * np.pi * HZ * 1e-3
    table = {"frequency": ("Hz", HZ), "real": ("ohm", z.real), "imaginary": ("ohm", z.imag)}
    given, result = measured(tmp_path, "impedance", table)
    size = np.abs(given["real"] + 1j * given["imaginary"])
    for hz in (100.0, 1000.0, 10_000.0):
        expected = float(np.interp(np.log(hz), np.log(given["frequency"]), size))
        within(result[f"impedance_at {hz:g}"], expected, 1e-6)
    least = next(figure for name, figure in result.items() if name.startswith("impedance_minimum"))
    assert least.value == pytest.approx(size.min())


def test_harmonics_and_distortion(tmp_path: Path) -> None:
    orders, level = np.arange(1.0, 7.0), np.array([2.0, 0.02, 0.01, 3e-3, 2e-3, 1e-3])
    given, result = measured(
        tmp_path, "harmonics", {"order": ("1", orders), "level": ("V", level)}, tone_hz=1000.0
    )
    parts = given["level"][1:]
    within(result["thd"], 100 * float(np.linalg.norm(parts)) / given["level"][0], 1e-9)
    within(result["output_power"], given["level"][0] ** 2 / 8, 1e-9)
    table = {"frequency": ("Hz", HZ), "thd": ("dB", np.linspace(-90, -60, 61))}
    given, result = measured(tmp_path, "distortion", table)
    first = f"thd {given['frequency'][0]:g}"
    within(result[first], float(100 * 10 ** (given["thd"][0] / 20)), 1e-9)
