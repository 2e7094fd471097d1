"""A plan that is made again keeps what was given for the earlier one."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app

SETTINGS = """
[bench.garage]
load_uncertainty_percent = 0.5
generator_uncertainty_percent = 0.5
generator_range = "generator"
[[bench.garage.calibration]]
since = 2024-01-01
range = "50 V"
volts_peak_at_full_scale = { 1 = 60, 2 = 60 }
uncertainty_percent = 0.3
[[bench.garage.calibration]]
since = 2024-01-01
range = "generator"
volts_peak_at_full_scale = { 1 = 4 }
uncertainty_percent = 0.3
"""
FACTS = [
    "--unit", "heron-40", "--maker", "Marrowgate", "--model", "Heron 40",
    "--kind", "integrated amplifier", "--technology", "tube", "--state", "serviced",
    "--rated-power-w", "20", "--mains-hz", "50", "--date", "2024-05-11",
]  # fmt: skip


@pytest.fixture
def begun(tmp_path: Path) -> Path:
    Catalogue.create(tmp_path / "home", SETTINGS)
    words = ["new", str(tmp_path / "review"), *FACTS, "-c", str(tmp_path / "home")]
    assert CliRunner().invoke(app, words).exit_code == 0
    return tmp_path


def planned(root: Path, *words: str) -> dict[str, str]:
    """What the generator is set to, by file."""
    command = ["plan", str(root / "review"), "-c", str(root / "home"), "--format", "csv", *words]
    ran = CliRunner().invoke(app, command)
    assert ran.exit_code == 0, ran.output
    return {row["file"]: row["level"] for row in csv.DictReader(io.StringIO(ran.stdout))}


def test_loads_rate_and_gain_stand_until_others_are_given(begun: Path) -> None:
    first = planned(begun, "--gain-db", "26", "--load", "8", "--load", "4", "--rate", "192 kHz")
    assert first["tone-1k-1w-8ohm.wav"] == "142 mV"
    assert "tone-1k-4ohm.wav" in first
    assert "tone-20k-1w-8ohm.wav" in first
    assert planned(begun) == first
    assert planned(begun, "--gain-db", "20")["tone-1k-1w-8ohm.wav"] == "283 mV"


def test_a_gain_that_was_given_for_another_load_is_not_taken(begun: Path) -> None:
    planned(begun, "--gain-db", "26", "--load", "8")
    assert planned(begun, "--load", "16")["tone-1k-1w-16ohm.wav"] == "not known yet"
