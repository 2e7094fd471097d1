"""A messy spreadsheet: every cell right or listed, whatever file it comes in."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest
from typer.testing import CliRunner, Result

from backbench.backfill import written_manifests
from backbench.catalogue import Catalogue
from backbench.cli import app
from old_records import HEADINGS, MAP, Messy, messy, write_csv, write_ods, write_xlsx
from simulated import contents_of

SETTINGS = 'title = "Old records"\n'


def write(path: Path, made: Messy) -> Path:
    if path.suffix == ".csv":
        write_csv(path, made)
    elif path.suffix == ".xlsx":
        write_xlsx(path, [list(HEADINGS), *made.rows])
    else:
        write_ods(path, [list(HEADINGS), *made.rows])
    return path


def backfilled(root: Path, sheet: Path, *more: str) -> Result:
    if not (root / "catalogue").exists():
        Catalogue.create(root / "catalogue", SETTINGS)
    (root / "map.toml").write_text(MAP)
    words = ["backfill", str(sheet), "--map", str(root / "map.toml"), "-c",
             str(root / "catalogue"), *more]  # fmt: skip
    ran = CliRunner().invoke(app, words)
    if ran.exception and not isinstance(ran.exception, SystemExit):
        raise ran.exception
    return ran


@pytest.mark.parametrize(("ending", "count"), [(".csv", 60), (".xlsx", 100), (".ods", 60)])
def test_every_cell_is_right_or_listed(tmp_path: Path, ending: str, count: int) -> None:
    made = messy(count)
    sheet = write(tmp_path / f"old{ending}", made)
    backfilled(tmp_path, sheet, "--yes", "--problems", str(tmp_path / "problems.csv"))
    readings = Catalogue(tmp_path / "catalogue").readings()
    got = {
        (row["review_key"], row["metric"]): (row["value"], row["bound"])
        for row in readings.iter_rows(named=True)
    }
    assert got.keys() == made.right.keys()
    for place, (value, bound) in made.right.items():
        assert got[place][0] == pytest.approx(value, rel=1e-9), place
        assert got[place][1] == bound, place
    assert set(readings["status"]) == {"entered"}
    problems = pl.read_csv(tmp_path / "problems.csv")["place"].to_list()
    cells = {place.rsplit(" ", 1)[1] for place in problems}
    assert made.listed <= cells
    numbers = {f"r{int(''.join(c for c in cell if c.isdigit())) - 1:03}" for cell in cells}
    assert made.lost <= numbers
    assert len(made.right) > 3.4 * count
    assert len(made.lost) > count / 50


def test_it_is_shown_before_it_is_written(tmp_path: Path) -> None:
    sheet = write(tmp_path / "old.csv", messy(20))
    shown = backfilled(tmp_path, sheet)
    assert "Nothing was written" in shown.output
    assert "THD 1 W: " in shown.output
    assert not list((tmp_path / "catalogue" / "ledger").iterdir())
    assert "left out: old.csv" in backfilled(tmp_path, sheet, "--dry-run").output


def test_run_again_only_changed_cells_are_written(tmp_path: Path) -> None:
    made = messy(40)
    sheet = write(tmp_path / "old.csv", made)
    backfilled(tmp_path, sheet, "--yes")
    before = contents_of(tmp_path / "catalogue")
    assert "0 reviews written" in backfilled(tmp_path, sheet, "--yes").output
    assert contents_of(tmp_path / "catalogue") == before
    key = next(key for key, metric in made.right if metric == "thd")
    row = next(row for row in made.rows if row[0] == key)
    row[HEADINGS.index("THD 1 W")] = "0.777 %"
    write(sheet, made)
    assert "1 review written" in backfilled(tmp_path, sheet, "--yes").output
    after = contents_of(tmp_path / "catalogue")
    changed = set(map(repr, after["reading"])) ^ set(map(repr, before["reading"]))
    assert len(changed) == 2


def test_another_layout_of_the_manifests_writes_no_review_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = write(tmp_path / "old.csv", messy(20))
    backfilled(tmp_path, sheet, "--yes")
    text = written_manifests.manifest_text
    monkeypatch.setattr(
        written_manifests, "manifest_text", lambda *given: text(*given).replace("\n", "\n\n")
    )
    assert "0 reviews written" in backfilled(tmp_path, sheet, "--yes").output


def test_entered_readings_survive_a_rebuild_with_their_cells(tmp_path: Path) -> None:
    sheet = write(tmp_path / "old.xlsx", messy(30))
    backfilled(tmp_path, sheet, "--yes")
    catalogue = Catalogue(tmp_path / "catalogue")
    before = contents_of(catalogue.places.root)
    original = sheet.read_bytes()
    sheet.unlink()
    (catalogue.places.root / "catalogue.duckdb").unlink()
    assert catalogue.rebuild(processes=1)[1] == []
    assert contents_of(catalogue.places.root) == before
    origins = catalogue.frame("FROM entered ORDER BY origin")["origin"].to_list()
    assert all(origin.startswith("old.xlsx, Amps, ") for origin in origins)
    (sha256,) = {
        received.sha256
        for receipt in catalogue.places.ledger.receipts()
        for name, received in receipt.files.items() if name == "old.xlsx"
    }  # fmt: skip
    assert catalogue.places.vault.read(str(sha256)) == original


def test_a_vanished_row_stays_and_is_reported(tmp_path: Path) -> None:
    made = messy(20)
    backfilled(tmp_path, write(tmp_path / "old.csv", made), "--yes")
    gone = next(key for key, _ in made.right)
    made.rows = [row for row in made.rows if row[0] != gone]
    message = backfilled(tmp_path, write(tmp_path / "old.csv", made), "--yes")
    assert f"{gone} is no longer in the spreadsheet but stays in the catalogue" in message.output
    assert gone in Catalogue(tmp_path / "catalogue").reviews()["review_key"].to_list()
