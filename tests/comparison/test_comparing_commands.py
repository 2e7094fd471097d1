"""The commands that compare: what they print, export and exit with."""

from __future__ import annotations

import datetime as dt
import io
import json
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.errors import UserError


@pytest.fixture
def home(given: Any) -> Path:
    """Eight units; u2 misses a promise. A bench whose loop-back stepped, and an entered record."""
    for n in range(8):
        given.unit(f"u{n}", made=1960 + n, technology="tube" if n < 7 else "hybrid")
        given.reading(f"u{n}", "noise_a", 1e-4 * (n + 1), 1e-6, under="idle")
        given.reading(f"u{n}", "thd", 0.1 * (n + 1), 5e-4)
    given.reading("u7", "gain", 20.0, None, status="entered")
    given.reading("u6", "gain", 21.0, 0.1)
    given.published("u2", "thd", "at most", 0.2)
    given.row("bench", bench_key="b1", load_uncertainty_percent=0.5,
              generator_uncertainty_percent=0.5)  # fmt: skip
    for month in range(1, 11):
        given.review(f"m{month}", f"2019-{month:02}-01")
        gain = (1.0 if month < 6 else 1.1) + 0.001 * (month % 3)
        given.reading("", "level", gain, 0.001, review=f"m{month}", load_ohm=None,
                      generator_vrms=1.0)  # fmt: skip
    folder: Path = given.build()
    (folder / "backbench.toml").write_text('title = "Bench"\n')
    return folder


def run(home: Path, *words: str, code: int = 0) -> str:
    ran = CliRunner().invoke(app, [*words, "--catalogue", str(home)])
    if ran.exit_code != code and ran.exception:
        raise ran.exception
    assert ran.exit_code == code
    # A command line is to be copied whole, whatever the length of the folder's name.
    lines = [line for line in ran.stdout.splitlines() if " backbench " not in line]
    assert max(map(len, lines), default=0) <= 80
    return ran.stdout


def test_compare_opens_with_verdicts_and_says_its_peers(home: Path) -> None:
    text = run(home, "compare", "u2")
    assert "fails" in text
    assert "tube, amplifiers" in text
    assert "3rd of 7" in text


def test_peers_can_be_chosen(home: Path) -> None:
    assert "3rd of 8" in run(home, "compare", "u2", "--peers", "everything")
    text = run(home, "compare", "u2", "--peers", "kind", "--peers", "decade=1960")
    assert "Rank among integrated amplifier, decade 1960 (7 other units" in text
    with pytest.raises(UserError, match="'colour'"):
        run(home, "compare", "u2", "--peers", "colour")


def test_export_holds_a_row_a_metric(home: Path, tmp_path: Path) -> None:
    out = tmp_path / "u2.parquet"
    run(home, "compare", "u2", "--format", "parquet", "--out", str(out))
    assert sorted(pl.read_parquet(out)["metric"]) == ["noise_a", "thd"]
    ran = CliRunner().invoke(app, ["compare", "u2", "-f", "csv", "-c", str(home)])
    assert pl.read_csv(io.StringIO(ran.stdout))["n"].to_list() == [7, 7]


def test_entered_readings_can_be_left_out(home: Path) -> None:
    everything = ("--peers", "everything")
    assert "entered" in run(home, "compare", "u6", *everything)
    text = run(home, "compare", "u6", *everything, "--without-entered")
    assert "1 entered, not measured" not in text


def test_check_tells_by_its_exit_code(home: Path) -> None:
    run(home, "compare", "u2", "--check", code=4)
    run(home, "compare", "u1", "--check")
    run(home, "drift", "b1", "--check", code=4)


def test_pair_is_sorted_by_certainty(home: Path) -> None:
    text = run(home, "pair", "u0", "u1")
    assert text.index("noise a") > text.index("thd")
    assert text.count("worse") == 2


def test_a_trend_and_a_screening_are_reported(given: Any) -> None:
    for n in range(20):
        given.unit(f"u{n}", made=1960 + n, technology="tube" if n < 12 else "hybrid")
        given.reading(f"u{n}", "noise_a", 1e-4 * (n + 1), 1e-6, under="idle")
        given.reading(f"u{n}", "thd", 0.1 * (1 + n % 3), 5e-4)
    folder = given.build()
    (folder / "backbench.toml").write_text('title = "Bench"\n')
    text = " ".join(run(folder, "trend", "noise_a", "age").split())
    assert "all: -1 mV a decade (-1 mV to -1 mV, 95 %)" in text
    assert "tube: -1 mV a decade" in text
    ran = CliRunner().invoke(
        app, ["trend", "noise_a", "age", "--by-group", "-f", "json", "-c", str(folder)]
    )
    groups = {row["group"]: row for row in json.loads(ran.stdout)}
    fitted = Catalogue(folder).trend("noise_a", "age").trend
    assert set(groups) == {"all", "tube"}
    assert groups["all"]["slope"] == fitted.slope
    assert groups["tube"]["slope_low"] == fitted.within["tube"].low
    screened = " ".join(run(folder, "trend", "--screen", "age").split())
    assert "1 of 2 metrics have a significant trend at a false-discovery rate of 5 %" in screened


def test_too_few_units_have_no_trend(home: Path) -> None:
    with pytest.raises(UserError, match="8 units; a trend takes at least 10"):
        run(home, "trend", "noise_a", "age")
    assert "3 have too few units" in run(home, "trend", "--screen", "age")
    with pytest.raises(UserError, match="--screen"):
        run(home, "trend", "noise_a")


def test_drift_names_the_step(home: Path) -> None:
    text = " ".join(run(home, "drift", "b1").split())
    assert "+0.81 dB between 2019-05-01 and 2019-06-01" in text
    assert "individuals and moving range" in text
    with pytest.raises(UserError, match="near: b1"):
        run(home, "drift", "b2")


def test_drift_says_what_it_lacks_and_what_was_done(given: Any) -> None:
    given.unit("a")
    given.row("bench", bench_key="b1", load_uncertainty_percent=0.5,
              generator_uncertainty_percent=0.5)  # fmt: skip
    given.row("bench_event", bench_key="b1", day=dt.date(2019, 1, 15), what="new cables")
    folder = given.build()
    (folder / "backbench.toml").write_text('title = "Bench"\n')
    text = " ".join(run(folder, "drift", "b1").split())
    assert "no loop-back yet: limits need 5 of each sort" in text
    assert "2019-01-15: new cables" in text


def test_drift_says_how_many_more_loop_backs_it_needs(given: Any) -> None:
    given.row("bench", bench_key="b1", load_uncertainty_percent=0.5,
              generator_uncertainty_percent=0.5)  # fmt: skip
    for month in range(1, 4):
        given.review(f"m{month}", f"2019-{month:02}-01")
        given.reading("", "level", 1.0, 0.001, review=f"m{month}", load_ohm=None,
                      generator_vrms=1.0)  # fmt: skip
    folder = given.build()
    (folder / "backbench.toml").write_text('title = "Bench"\n')
    assert "needs 2 more loop-backs" in " ".join(run(folder, "drift", "b1").split())
