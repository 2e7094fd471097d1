"""A whole day at the bench through the public commands, from an empty folder to a comparison."""

from __future__ import annotations

import math
import re
from pathlib import Path

import polars as pl
import pytest

from backbench.catalogue import Catalogue
from backbench.metrics.registry import registry
from bench_amplifier import BENCH, Amplifier, record_calibrations, record_idle, record_runs
from commands_run import run

KEY = "2024-05-heron-40"
FACTS = [
    "--unit", "heron-40", "--maker", "Marrowgate", "--model", "Heron 40",
    "--kind", "integrated amplifier", "--technology", "tube", "--state", "serviced",
    "--rated-power-w", "20", "--made", "1961", "--date", "2024-05-11", "--mains-hz", "50",
]  # fmt: skip
RATE = 48_000
"""Of the recordings: the samples of a day take longer to play and record than all else."""


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory, measured_once_by_all: None) -> Path:
    """The folder of the day, once everything is done in it."""
    root = tmp_path_factory.mktemp("day")
    home, review, waves = root / "catalogue", root / KEY, root / "waves"
    run("init", home)
    (home / "backbench.toml").write_text(BENCH)
    for name, (path, volts) in record_calibrations(root, RATE).items():
        run("calibrate", path, "--volts", f"{volts:.6g}", "--meter-uncertainty-percent", "0.2",
            "--bench", "garage", "--range", name, "--date", "2024-05-01", "--save",
            "-c", home)  # fmt: skip
    run("new", review, *FACTS, "-c", home)
    run("plan", review, "--gain-db", "25.2", "--load", "8", "--load", "4", "--rate", str(RATE),
        "-c", home)  # fmt: skip
    run("stimuli", review, waves)
    record_idle(Amplifier(), review, RATE)
    for recording in record_runs(Amplifier(), waves, review, root):
        layout = waves / f"{recording.stem.removeprefix('recorded-')}.toml"
        run("cut", recording, layout, review)
    run("check", review, "--accept", "-c", home, codes=(0, 1))
    run("ingest", review, "--direct", "--processes", "1", "-c", home, codes=(0, 3))
    return root


@pytest.fixture(scope="module")
def catalogue(day: Path) -> Catalogue:
    return Catalogue(day / "catalogue")


def value(catalogue: Catalogue, metric: str, **where: object) -> float:
    result = catalogue.readings().filter(
        pl.col("metric") == metric, pl.col("value").is_not_null(),
        *(pl.col(name) == requested for name, requested in where.items()),
    )  # fmt: skip
    assert result.height, metric
    return float(result.sort("power_w")["value"][0])


def test_every_planned_capture_is_there_and_none_failed(catalogue: Catalogue, day: Path) -> None:
    captures = catalogue.captures()
    measured = captures.filter(pl.col("stimulus").is_in(list(registry().views)))
    assert measured.filter(pl.col("status") == "failed").select("file", "reason").rows() == []
    planned = len(re.findall(r"^\[\[step\]\]", (day / KEY / "plan.toml").read_text(), re.M))
    assert captures.height == planned >= 20
    result = run("check", day / KEY, "-c", day / "catalogue")
    assert re.findall(r"^fault: (\S+):", result.output, re.M) == []
    assert "0 missing, 0 faults" in result.output


def test_the_readings_are_those_of_the_amplifier(catalogue: Catalogue) -> None:
    amplifier = Amplifier()
    at_1w = {"stimulus": "tone", "frequency_hz": 997.0, "output": "left", "load_ohm": 8.0}
    # tanh x takes x^2 / 4 off the fundamental: x is the drive's peak over the rail, at 1 W.
    x = math.sqrt(2 * 8) * (8.8 / 8) / amplifier.rail_v
    expected = 20 * math.log10(amplifier.gain * 8 / 8.8 * (1 - x**2 / 4))
    assert value(catalogue, "gain", **at_1w) == pytest.approx(expected, abs=0.02)
    across = {"output": "left", "frequency_hz": 997.0}
    resistance = value(catalogue, "regulation_resistance", **across)
    assert resistance == pytest.approx(amplifier.source_ohm, rel=0.02)
    # Without phase the impedance is a bound, lower by what loads and voltages leave open.
    assert 0.95 < value(catalogue, "source_impedance", **across) / amplifier.source_ohm < 1
    balance = value(catalogue, "channel_balance", frequency_hz=997.0)
    assert abs(balance) == pytest.approx(-20 * math.log10(0.97), abs=0.02)
    # A bound: how far what arrives before the sweep's response goes on after it isn't known.
    assert value(catalogue, "response_spread") < 0.1


def test_the_unit_can_be_compared(day: Path) -> None:
    result = run("compare", "heron-40", "-c", day / "catalogue")
    assert "Heron 40" in result.output


def test_the_unit_has_its_sheet_and_stills(day: Path) -> None:
    page, stills = day / "heron.html", day / "stills"
    run("sheet", KEY, page, "-c", day / "catalogue")
    assert "Heron 40" in page.read_text(encoding="utf-8")
    run("publish", "--stills", KEY, "--out", stills, "-c", day / "catalogue")
    pictures = sorted(stills.glob("*.png"))
    captions = [path.with_suffix(".txt") for path in pictures]
    assert len(pictures) >= 3
    assert all(path.read_bytes().startswith(b"\x89PNG") for path in pictures)
    assert any("Heron 40" in path.read_text(encoding="utf-8") for path in captions)


def test_a_plan_made_again_knows_gain_and_loads_and_ticks_off_what_is_done(day: Path) -> None:
    result = run("plan", day / KEY, "--dry-run", "-c", day / "catalogue")
    assert "-4ohm.wav" in result.output
    assert "name a second load" not in result.output
    assert re.search(r"Gain 25\.\d\d dB \(from tone-1k-1w-8ohm\.wav\)", result.output)
    assert " x " in result.output


def test_a_second_review_of_the_unit_begins_with_what_is_known(day: Path) -> None:
    result = run("new", day / "later", "--unit", "heron-40", "--state", "restored", "--dry-run",
                 "-c", day / "catalogue")  # fmt: skip
    assert 'maker = "Marrowgate"' in result.output
    assert 'state = "restored"' in result.output
    assert not (day / "later").exists()
