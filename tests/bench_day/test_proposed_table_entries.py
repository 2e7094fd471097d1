"""Entries proposed for traces and tables of every sort, each checked by reading with it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from pydantic import TypeAdapter

from backbench.bench_day.manifest_entries import Suggestion
from backbench.bench_day.table_entries import table_entries
from backbench.documents.stimuli import Table
from backbench.readers.file_formats import read_table
from sine_traces import instants, sine
from squares import ideal_trace

OUT = [("heron-40", "left")]


def burst(time: np.ndarray, hz: float, on: float, period: float) -> np.ndarray:
    return np.where(time % period < on, np.sin(2 * np.pi * hz * (time % period)), 0.0)


def rectified(time: np.ndarray) -> np.ndarray:
    return 320 - 2 * (time * 100 % 1) + np.random.default_rng(1).normal(0, 0.02, len(time))


def noisy(values: np.ndarray, share: float = 0.01) -> np.ndarray:
    """In 256 steps, with noise."""
    swing = np.ptp(values)
    volts = values + np.random.default_rng(3).normal(0, share * swing, len(values))
    return np.asarray(np.round(volts / swing * 200) * swing / 200)


def proposed(folder: Path, heading: str, *columns: np.ndarray) -> Suggestion | str:
    rows = "\n".join(",".join(f"{x:.7g}" for x in row) for row in zip(*columns, strict=True))
    (folder / "t.csv").write_text(f"{heading}\n{rows}\n")
    suggestions, unknown = table_entries(folder, (), OUT)
    return suggestions[0] if suggestions else unknown[0][1]


def stimulus_of(suggestion: Suggestion | str) -> dict[str, object]:
    assert isinstance(suggestion, Suggestion), suggestion
    return suggestion.table["stimulus"]  # type: ignore[return-value]


T = instants(2500, 0.01)
LONG = instants(20_000, 0.2)


@pytest.mark.parametrize("hz", [200.0, 997.0, 1000.0, 10_000.0, 19_997.0])
def test_a_sine_is_proposed_ready(tmp_path: Path, hz: float) -> None:
    time = instants(2500, 4.3 / hz)
    made = proposed(tmp_path, "Time (s),CH1 (V)", time, sine(time, hz, 3.0, noise=0.01))
    assert isinstance(made, Suggestion)
    assert made.ready
    assert stimulus_of(made)["tone_hz"] == pytest.approx(hz, rel=1e-3)
    assert made.table["of"] == {"unit": "heron-40", "output": "left"}
    table = TypeAdapter(Table).validate_python(stimulus_of(made))
    assert len(read_table(tmp_path / "t.csv", table).columns["voltage"]) == 2500


@pytest.mark.parametrize("hz", [997.0, 1000.0])
def test_the_frequency_of_a_long_sine_is_that_played(tmp_path: Path, hz: float) -> None:
    made = proposed(tmp_path, "Time (s),CH1 (V)", T, sine(T, hz, 3.0))
    assert stimulus_of(made)["tone_hz"] == hz


@pytest.mark.parametrize("bits", [8, 12])
@pytest.mark.parametrize("phase", [-1.57, 0.0, 0.4, 1.57, 3.0])
def test_a_sine_of_two_periods_is_proposed_ready(tmp_path: Path, bits: int, phase: float) -> None:
    time = instants(1000, 0.002)
    made = proposed(
        tmp_path, "Time (s),CH1 (V)", time, sine(time, 1000.0, 3.0, bits=bits, phase=phase)
    )
    assert isinstance(made, Suggestion)
    assert made.ready
    assert stimulus_of(made)["tone_hz"] == 1000.0


@pytest.mark.parametrize("uneven", [False, True])
@pytest.mark.parametrize(("points", "noise"), [(120, 0.0), (1000, 0.02), (5000, 0.0)])
def test_a_square_wave(tmp_path: Path, points: int, noise: float, uneven: bool) -> None:
    time, volts = ideal_trace(
        1000.0, points=points, periods=3.3, swing=1.0, bits=8, filled=0.8, noise=noise,
        phase=0.2, seed=1, uneven=uneven,
    )  # fmt: skip
    made = proposed(tmp_path, "Time (s),CH1 (V)", time, volts)
    assert stimulus_of(made)["square_hz"] == 1000.0


def test_one_edge_asks_for_the_frequency(tmp_path: Path) -> None:
    made = proposed(tmp_path, "Time (s),CH1 (V)", T, np.tanh((T - 0.004) * 2e5))
    assert isinstance(made, Suggestion)
    assert not made.ready
    assert str(stimulus_of(made)["square_hz"]).startswith("FILL IN")


def test_bursts(tmp_path: Path) -> None:
    made = proposed(tmp_path, "Time (s),CH1 (V)", LONG, noisy(burst(LONG, 1000.0, 0.02, 0.05)))
    given = stimulus_of(made)
    assert (given["burst_hz"], given["on_ms"], given["period_ms"]) == (1000.0, 20.0, 50.0)
    one = proposed(tmp_path, "Time (s),CH1 (V)", LONG, noisy(burst(LONG, 1000.0, 0.02, 5.0)))
    given = stimulus_of(one)
    assert given["burst_hz"] == 1000.0
    assert str(given["on_ms"]).startswith("FILL IN")
    assert str(given["period_ms"]).startswith("FILL IN")


def test_ripple_and_what_may_be_two_things_are_asked(tmp_path: Path) -> None:
    made = proposed(tmp_path, "Time (s),CH1 (V)", LONG, rectified(LONG))
    assert stimulus_of(made)["ripple"] == "FILL IN: the supply whose voltage it is"
    shapes: dict[str, Callable[[np.ndarray], np.ndarray]] = {
        "mains": lambda t: sine(t, 100.0, 1.0),
        "noise": lambda t: np.random.default_rng(1).normal(0, 1, len(t)),
        "nothing": lambda t: np.zeros(len(t)),
        "a saw": lambda t: t * 700 % 1 - 0.5,
    }
    for name, shape in shapes.items():
        asked = proposed(tmp_path, "Time (s),CH1 (V)", LONG, shape(LONG))
        assert isinstance(asked, Suggestion), name
        assert not asked.ready, name


def test_which_of_two_voltages_is_the_output_is_asked(tmp_path: Path) -> None:
    both = sine(T, 1000.0, 3.0), sine(T, 1000.0, 0.3)
    made = proposed(tmp_path, "Time (s),CH1 (V),CH2 (V)", T, *both)
    columns = stimulus_of(made)["columns"]
    assert "'CH1 (V)' or 'CH2 (V)'" in str(columns)
    named = proposed(tmp_path, "Time (s),Output (V),Generator (V)", T, *both)
    assert isinstance(named, Suggestion)
    assert named.ready
    assert set(stimulus_of(named)["columns"]) == {"time", "voltage", "generator"}  # type: ignore[call-overload]


POWER = np.array([0.1, 0.5, 1.0, 5.0, 10.0])
HZ = np.geomspace(20, 20_000, 31)


def test_tables_of_distortion(tmp_path: Path) -> None:
    over = proposed(tmp_path, "Frequency (Hz),THD (%),THD+N (%)", HZ, HZ / 1e5, HZ / 5e4)
    assert isinstance(over, Suggestion)
    assert over.ready
    assert stimulus_of(over)["table"] == "distortion"
    powers = proposed(tmp_path, "Power (W),Level (V),THD+N (dB)", POWER, POWER, -60 - POWER)
    assert stimulus_of(powers)["tone_hz"] == "FILL IN: the frequency of the sine, Hz"
    assert set(stimulus_of(powers)["columns"]) == {"power", "level", "thd_n"}  # type: ignore[call-overload]
    assert "THD or THD+N" in str(proposed(tmp_path, "Power (W),Distortion (%)", POWER, POWER / 10))


def test_harmonics_and_spectra_are_told_from_responses(tmp_path: Path) -> None:
    orders = np.arange(1.0, 6.0)
    made = proposed(tmp_path, "Harmonic,Level (dB)", orders, -20 * orders)
    assert stimulus_of(made)["table"] == "harmonics"
    asked = proposed(tmp_path, "Frequency (Hz),Level (dB)", 1000 * orders, -20 * orders)
    assert "response or harmonics?" in str(asked)
    bins = np.linspace(0, 24_000, 2049)
    level = -120 + np.random.default_rng(1).normal(0, 2, len(bins))
    asked = proposed(tmp_path, "Frequency (Hz),Level (dBV)", bins, level)
    assert "response or spectrum?" in str(asked)
    level[85] = 0.0
    spectrum = proposed(tmp_path, "Frequency (Hz),Level (dBV)", bins, level)
    assert stimulus_of(spectrum)["table"] == "spectrum"
    assert stimulus_of(spectrum)["tone_hz"] == pytest.approx(bins[85], rel=1e-3)


def test_the_output_is_named_by_the_file_or_asked(tmp_path: Path) -> None:
    for name in ("response-left.csv", "response.csv"):
        (tmp_path / name).write_text("Frequency (Hz),Level (dB)\n10,0\n100,1\n1000,0\n")
    both = [("heron-40", "left"), ("heron-40", "right")]
    found = {one.file: one.table["of"] for one in table_entries(tmp_path, (), both)[0]}
    assert found == {
        "response-left.csv": {"unit": "heron-40", "output": "left"},
        "response.csv": {"unit": "heron-40", "output": "FILL IN: left or right"},
    }
