"""A receiver's two days, as an amplifier and as a tuner, each from `new` to the sheet."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

import golden_readings
from backbench.catalogue import Catalogue
from backbench.seed_dataset.tuner import Tuner
from commands_run import run
from driven_unit import BENCH, FULL_V, RATE, DrivenUnit, recorded
from sheet_text import sheet_text
from tuner_records import entries, tables, truths

AMPLIFIER = DrivenUnit(22.0, 32.0, 8e-5, 0.3)
TUNER = Tuner(full_quieting_dbf=14.0, snr_db=70.0, capture_db=1.8)
UNIT = "dabchick-5"
LISTENING = """
[listening]
seat_m = 3.0
room_noise_dba = 25
[[loudspeaker]]
name = "small"
sensitivity_db = 88
"""


def begun(home: Path, review: Path, *facts: str, conditions: str = "") -> Path:
    run("new", review, "--unit", UNIT, "--maker", "Marrowgate", "--model", "Dabchick 5",
        "--kind", "receiver", "--technology", "solid state", "--state", "serviced",
        "--mains-hz", "50", "--date", "2024-06-11", *facts, "-c", home)  # fmt: skip
    manifest = review / "review.toml"
    if conditions:
        text = manifest.read_text().replace("[conditions]", f"[conditions]\n{conditions}", 1)
        assert conditions in text
        manifest.write_text(text)
    return manifest


def ended(home: Path, review: Path, captures: list[str]) -> str:
    """Ingested; the text of its sheet."""
    manifest = review / "review.toml"
    manifest.write_text(manifest.read_text() + "\n" + "\n".join(captures))
    run("ingest", review, "--direct", "--processes", "1", "-c", home, codes=(0, 3))
    return sheet_text(review.name, review / "sheet.html", home)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("receiver") / "home"
    run("init", home)
    (home / "backbench.toml").write_text(BENCH + LISTENING)
    return home


@pytest.fixture(scope="module")
def sheets(home: Path) -> dict[str, str]:
    """Both days' sheets, by review."""
    amplifier, tuner = (home.parent / name for name in ("as-amplifier", "as-tuner"))
    begun(home, amplifier, "--rated-power-w", "25")
    run("plan", amplifier, "--rate", str(RATE), "--gain-db", "26.5", "--load", "8", "-c", home)
    begun(home, tuner, conditions='input = "tuner"')
    run("plan", tuner, "-c", home)
    heard = [*entries(TUNER, tuner, FULL_V), *tables(TUNER, tuner, UNIT)]
    return {
        "as-amplifier": ended(home, amplifier, recorded(AMPLIFIER, amplifier)),
        "as-tuner": ended(home, tuner, heard),
    }


@pytest.fixture(scope="module")
def readings(home: Path, sheets: dict[str, str]) -> pl.DataFrame:
    assert len(sheets) == 2
    return Catalogue(home).readings()


def agrees(readings: pl.DataFrame, metric: str, truth: float, **same: object) -> None:
    found = readings.filter(
        pl.col("metric") == metric, pl.col("value").is_not_null(), pl.col("output") == "left",
        *(pl.col(name).eq_missing(wanted) for name, wanted in same.items()),
    )  # fmt: skip
    assert found.height, metric
    row = found.row(0, named=True)
    assert row["bound"] is None, row
    assert abs(row["value"] - truth) <= 3 * row["uncertainty"] + 0.01, (row, truth)


def test_nothing_failed(home: Path, sheets: dict[str, str]) -> None:
    failed = Catalogue(home).captures().filter(pl.col("status") == "failed")
    assert failed.select("review_key", "file", "reason").rows() == []


@pytest.mark.parametrize("driven", [None, "left"])
def test_power_of_all_outputs_and_of_one(readings: pl.DataFrame, driven: str | None) -> None:
    """Both from the same rails here: the simulated supply is stiff."""
    truth = AMPLIFIER.power_at(1.0, 8.0)
    agrees(readings, "power_at_limit", truth, limit_percent=1.0, driven=driven)


@pytest.mark.parametrize(("metric", "truth"), truths(TUNER))
def test_the_tuner_beside_its_truth(readings: pl.DataFrame, metric: str, truth: float) -> None:
    agrees(readings, metric, truth)


def test_golden(readings: pl.DataFrame) -> None:
    golden_readings.agree("receiver", readings)


def test_the_sheets_tell_each_its_own(sheets: dict[str, str]) -> None:
    amplifier, tuner = sheets["as-amplifier"], sheets["as-tuner"]
    assert "Capture ratio" in tuner
    assert "Capture ratio" not in amplifier
    assert "one output driven" in amplifier
    assert "tuner: idle" in tuner
    assert "Damping factor" in amplifier
    assert "Damping factor" not in tuner


def test_the_comparison_tells_both(home: Path, sheets: dict[str, str]) -> None:
    """Each path's figures stand at points of its own; what the tuner gives drives no
    loudspeaker."""
    made = Catalogue(home).compare(UNIT)
    points = {line.point_key for line in made.lines}
    assert {"tuner-table", "interference-table", "fm-tone"} <= points
    assert {"limit-1khz-8ohm", "limit-1khz-8ohm-one-driven", "idle", "tuner-idle"} <= points
    spoken = " ".join(made.listening)
    assert "small" in spoken
    noises = [line for line in made.lines if line.point_key in ("idle", "tuner-idle")]
    assert noises
