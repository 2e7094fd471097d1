"""A tuner's day, from `new` to the sheet: captures of a simulated tuner, its tables, the truth."""

from __future__ import annotations

import math

import polars as pl
import pytest

import golden_readings
from backbench.catalogue import Catalogue
from backbench.seed_dataset.tuner import Tuner, deemphasis
from commands_run import run
from sheet_text import sheet_text
from tuner_records import STATED_S, entries, tables, truths

FULL_SCALE = 3.0
SETTINGS = """
title = "A day with a tuner"
[bench.table]
load_uncertainty_percent = 0.3
generator_uncertainty_percent = 0.3
[[bench.table.calibration]]
since = 2024-01-01
volts_peak_at_full_scale = { 1 = 3.0, 2 = 3.0 }
uncertainty_percent = 0.2
"""
TUNER = Tuner()


@pytest.fixture(scope="module")
def catalogue(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    root = tmp_path_factory.mktemp("tuner")
    home, review = root / "catalogue", root / "2024-05-crake-7"
    run("init", home)
    (home / "backbench.toml").write_text(SETTINGS)
    run("new", review, "--unit", "crake-7", "--maker", "Marrowgate", "--model", "Crake 7",
        "--kind", "tuner", "--technology", "solid state", "--state", "serviced", "--made", "1976",
        "--date", "2024-05-11", "--mains-hz", "50", "-c", home)  # fmt: skip
    run("plan", review, "-c", home)
    manifest = review / "review.toml"
    captures = [*entries(TUNER, review, FULL_SCALE), *tables(TUNER, review, "crake-7")]
    manifest.write_text(manifest.read_text() + "\n" + "\n".join(captures))
    run("ingest", review, "--direct", "--processes", "1", "-c", home, codes=(0, 3))
    assert "Capture ratio" in sheet_text("2024-05-crake-7", root / "crake.html", home)
    return Catalogue(home)


def reading(catalogue: Catalogue, metric: str, **same: object) -> dict[str, object]:
    found = catalogue.readings().filter(
        pl.col("metric") == metric, pl.col("value").is_not_null(),
        *(pl.col(name) == wanted for name, wanted in same.items()),
    )  # fmt: skip
    assert found.height, metric
    return found.row(0, named=True)


def test_nothing_failed(catalogue: Catalogue) -> None:
    failed = catalogue.captures().filter(pl.col("status") == "failed")
    assert failed.select("file", "reason").rows() == []


@pytest.mark.parametrize(("metric", "truth"), truths(TUNER))
def test_figures_beside_the_truth(catalogue: Catalogue, metric: str, truth: float) -> None:
    row = reading(catalogue, metric, output="left")
    assert row["bound"] is None
    assert abs(float(row["value"]) - truth) <= 3 * float(row["uncertainty"]) + 0.01  # type: ignore[arg-type]


def test_golden(catalogue: Catalogue) -> None:
    golden_readings.agree("tuner", catalogue.readings())


def test_deemphasis_error_at_10_khz(catalogue: Catalogue) -> None:
    row = reading(catalogue, "deemphasis_error", output="left", frequency_hz=10_000.0)
    own, stated = (
        20 * math.log10(deemphasis(1e4, constant) / deemphasis(1e3, constant))
        for constant in (TUNER.deemphasis_s, STATED_S)
    )
    assert float(row["value"]) == pytest.approx(own - stated, abs=0.02)  # type: ignore[arg-type]


def test_separation_against_frequency(catalogue: Catalogue) -> None:
    apart = catalogue.readings().filter(
        pl.col("metric") == "separation", pl.col("value").is_not_null()
    )
    assert len(apart["frequency_hz"].unique()) == 3
    assert apart["value"].to_list() == pytest.approx([TUNER.separation_db] * apart.height, abs=0.6)
