"""Days of a power amplifier, a preamplifier, a crossover and an amplifier's headphone socket."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import polars as pl
import pytest

import golden_readings
from backbench.catalogue import Catalogue
from commands_run import run
from driven_unit import BENCH, RATE, DrivenUnit, recorded
from sheet_text import sheet_text

UNITS = {
    "power amplifier": DrivenUnit(20.0, 85.0, 1e-4, 0.25, input_ohm=20_000.0),
    "preamplifier": DrivenUnit(5.0, 30.0, 2e-5, 220.0),
    "crossover": DrivenUnit(1.0, 25.0, 1e-5, 100.0, pole_hz=2500.0),
    "integrated amplifier": DrivenUnit(20.0, 40.0, 1e-5, 120.0),
}
FACTS: dict[str, tuple[str, ...]] = {"power amplifier": ("--rated-power-w", "40")}
CONDITIONS = {"preamplifier": 'volume = "max"', "integrated amplifier": 'tap = "headphones"'}
PLANS = {
    "power amplifier": ("--gain-db", "25.75", "--load", "8", "--load", "4"),
    "preamplifier": ("--gain-db", "14"),
    "crossover": ("--gain-db", "0"),
    "integrated amplifier": ("--gain-db", "12.5", "--load", "32", "--load", "300"),
}


def taken(kind: str, home: Path, review: Path) -> None:
    """The day of one kind: begun, planned, recorded as planned, ingested, written on a sheet."""
    run("new", review, "--unit", review.name, "--maker", "Marrowgate", "--model", f"D {kind}",
        "--kind", kind, "--technology", "solid state", "--state", "serviced", "--mains-hz", "50",
        "--date", "2024-06-11", *FACTS.get(kind, ()), "-c", home)  # fmt: skip
    manifest = review / "review.toml"
    if kind in CONDITIONS:
        text = manifest.read_text().replace("[conditions]", f"[conditions]\n{CONDITIONS[kind]}", 1)
        assert CONDITIONS[kind] in text
        manifest.write_text(text)
    run("plan", review, "--rate", str(RATE), *PLANS[kind], "-c", home)
    entries = recorded(UNITS[kind], review)
    manifest.write_text(manifest.read_text() + "\n" + "\n".join(entries))
    run("ingest", review, "--direct", "--processes", "1", "-c", home, codes=(0, 3))


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("days")
    run("init", root / "home")
    (root / "home" / "backbench.toml").write_text(BENCH)
    for kind in UNITS:
        taken(kind, root / "home", root / kind.replace(" ", "-"))
    return root / "home"


@pytest.fixture(scope="module")
def readings(home: Path) -> pl.DataFrame:
    return Catalogue(home).readings()


def figures(readings: pl.DataFrame, kind: str, metric: str, **same: object) -> list[dict]:  # type: ignore[type-arg]
    found = readings.filter(
        pl.col("unit_key") == kind.replace(" ", "-"), pl.col("metric") == metric,
        pl.col("value").is_not_null(),
        *(pl.col(name).eq_missing(wanted) for name, wanted in same.items()),
    ).sort("generator_vrms").to_dicts()  # fmt: skip
    assert found, (kind, metric)
    return found


def agrees(found: dict, truth: float) -> None:  # type: ignore[type-arg]
    assert found["bound"] is None, found
    assert abs(found["value"] - truth) <= 3 * found["uncertainty"], (found, truth)


def test_every_capture_of_the_plans_is_measured(home: Path) -> None:
    captures = Catalogue(home).captures()
    failed = captures.filter(pl.col("status") == "failed")
    assert failed.select("review_key", "file", "reason").rows() == []
    assert set(captures["review_key"]) == {kind.replace(" ", "-") for kind in UNITS}


@pytest.mark.parametrize("kind", UNITS)
def test_what_all_of_them_have(readings: pl.DataFrame, kind: str) -> None:
    unit = UNITS[kind]
    (impedance, *_) = figures(readings, kind, "source_impedance", output="left")
    if impedance["bound"] is None:
        agrees(impedance, unit.source_ohm)
    else:  # without the generator's phase
        assert impedance["bound"] == "lower"
        assert 0.9 * unit.source_ohm <= impedance["value"] <= 1.01 * unit.source_ohm
    volume = "max" if kind == "preamplifier" else None
    (balance, *_) = figures(readings, kind, "channel_balance", volume=volume)
    # limiting takes a little more of the greater one
    assert balance["value"] == pytest.approx(-20 * math.log10(unit.right), abs=0.005)
    found, *_ = figures(readings, kind, "separation", output="left")
    # at the lowest level, where limiting takes a little of the driven output alone
    assert -0.3 <= found["value"] + 20 * math.log10(unit.leak) <= 3 * found["uncertainty"]


def test_response_of_the_crossover(readings: pl.DataFrame) -> None:
    grid = np.geomspace(1000, 20_000, 20_000)
    size = UNITS["crossover"].response(grid)
    corner = float(grid[size < size[0] / math.sqrt(2)][0])
    (found,) = figures(readings, "crossover", "response_high_3db", output="left")
    assert found["value"] == pytest.approx(corner, rel=0.01)


def test_volume_control_of_the_preamplifier(readings: pl.DataFrame) -> None:
    unit = UNITS["preamplifier"]
    (tracking,) = figures(readings, "preamplifier", "balance_tracking")
    # limiting takes a little more of the greater output, and more at one setting
    assert tracking["value"] == pytest.approx(unit.lag_db, abs=2e-3)
    (inlet, *_) = figures(readings, "preamplifier", "input_impedance", output="left")
    agrees(inlet, unit.input_ohm)


def test_power_damping_and_noise_of_the_power_amplifier(readings: pl.DataFrame) -> None:
    unit, kind = UNITS["power amplifier"], "power amplifier"
    for percent in (0.1, 1.0):
        (found,) = figures(readings, kind, "power_at_limit", output="left", limit_percent=percent,
                           driven=None)  # fmt: skip
        agrees(found, unit.power_at(percent, 8.0))
    (found,) = figures(readings, kind, "power_at_limit", limit_percent=1.0, driven="left")
    agrees(found, unit.power_at(1.0, 8.0))
    (damping, *_) = figures(readings, kind, "damping_factor", output="left")
    assert damping["value"] == pytest.approx(8.0 / unit.source_ohm, rel=0.03)
    volts = unit.hiss_v * math.hypot(1.0, 0.1) / (1 + unit.source_ohm / 8)
    volts *= math.sqrt(19_980 / 24_000)
    (noise,) = figures(readings, kind, "noise", output="left")
    agrees(noise, volts)
    plain = [f for f in figures(readings, kind, "snr_1w", output="left") if '"none"' in f["detail"]]
    assert plain[0]["value"] == pytest.approx(-20 * math.log10(volts / math.sqrt(8)), abs=0.1)


def test_a_unit_without_memory_recovers_at_once(readings: pl.DataFrame) -> None:
    """A bound: within two periods of the bursts that are planned."""
    found, *_ = figures(readings, "power amplifier", "overload_recovery")
    assert (found["bound"], found["value"]) == ("upper", pytest.approx(2 / 997, rel=1e-5))


def test_golden(readings: pl.DataFrame) -> None:
    golden_readings.agree("driven-kinds", readings)


def test_headphone_socket_of_the_integrated_amplifier(home: Path, readings: pl.DataFrame) -> None:
    unit, kind = UNITS["integrated amplifier"], "integrated amplifier"
    limits = {
        found["load_ohm"]: found
        for found in figures(readings, kind, "power_at_limit", output="left", limit_percent=1.0)
    }
    agrees(limits[32.0], unit.power_at(1.0, 32.0))
    compared = run("compare", "integrated-amplifier", "--all", "--wide", "-c", home).output
    assert "1 kHz, 32 Ω" in compared
    assert "headphone socket: " in compared
    assert "SPL" not in compared


@pytest.mark.parametrize("kind", UNITS)
def test_the_sheet_tells_the_kind_s_figures(home: Path, kind: str, tmp_path: Path) -> None:
    """Those of a headphone socket at the points of its own."""
    text = sheet_text(kind.replace(" ", "-"), tmp_path / "sheet.html", home)
    assert kind in text
    assert "Channel balance" in text
    assert ("headphone socket: " in text) == (kind == "integrated amplifier")
    own = {"preamplifier": ("Input impedance",), "power amplifier": ("one output driven",)}
    for title in own.get(kind, ()):
        assert title in text, title
