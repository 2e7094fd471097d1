"""Whether a unit of a sheet is one of the catalogue's is decided by somebody, and kept."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.commands import answers, backfill

MAP = """\
[review]
date = { column = "Date" }
bench = { always = "notebook" }
mains_hz = { always = 50 }

[unit]
maker = { column = "Maker" }
model = { column = "Model" }
serial = { column = "Serial" }
kind = { always = "power amplifier" }
technology = { always = "tube" }
state = { always = "serviced" }

[[reading]]
column = "THD"
metric = "thd"
unit = "%"
output = "both"
"""
FIRST = "2001-02-03,Marrowgate,Heron 40,10423,0.1\n2001-02-04,Marrowgate,Stilt 9,,0.1\n"


def imported(root: Path, rows: str, name: str, *more: str, given: str = "") -> Result:
    if not (root / "catalogue").exists():
        Catalogue.create(root / "catalogue", 'title = "Old records"\n')
    (root / f"{name}.csv").write_text("Date,Maker,Model,Serial,THD\n" + rows)
    if not (root / f"{name}.toml").exists():
        (root / f"{name}.toml").write_text(MAP)
    words = [str(root / f"{name}.csv"), "--map", str(root / f"{name}.toml"), "-c",
             str(root / "catalogue"), *more]  # fmt: skip
    return CliRunner().invoke(app, ["backfill", *words], input=given)


def test_the_most_alike_unit_is_suggested_first(tmp_path: Path) -> None:
    first = "2001-02-03,Marrowgate,Heron 12,10423,0.1\n2001-02-04,Marrowgate,Heron 20,,0.1\n"
    imported(tmp_path, first, "first", "--yes")
    text = imported(tmp_path, "2002-02-03,Marrowgate,Heron 20,,0.2\n", "second", "--yes").output
    wanted = '"Marrowgate Heron 20" = "marrowgate-heron-20" if it is the same'
    assert wanted in " ".join(text.split())


def units(root: Path) -> list[str]:
    return sorted(Catalogue(root / "catalogue").units()["unit_key"].to_list())


@pytest.fixture
def root(tmp_path: Path) -> Path:
    assert imported(tmp_path, FIRST, "first", "--yes").exit_code == 0
    return tmp_path


HERON, STILT = "marrowgate-heron-40-10423", "marrowgate-stilt-9"


def test_equal_serial_numbers_are_the_same_unit(root: Path) -> None:
    row = "2005-02-03,Marrowgate,Heron-40,10423,0.2\n"
    assert imported(root, row, "second", "--yes").exit_code == 0
    assert units(root) == [HERON, STILT]


def test_different_serial_numbers_are_different_units(root: Path) -> None:
    row = "2005-02-03,Marrowgate,Heron 40,20999,0.2\n"
    assert imported(root, row, "second", "--yes").exit_code == 0
    assert units(root) == [HERON, "marrowgate-heron-40-20999", STILT]


def test_off_a_terminal_an_open_decision_leaves_the_unit_out(root: Path) -> None:
    rows = "2005-02-03,Marrowgate,Stilt-9,,0.2\n2005-02-03,Corvane,R,,0.2\n"
    ran = imported(root, rows, "second", "--yes")
    assert ran.exit_code == 3
    assert "may be a unit that the catalogue holds: marrowgate-stilt-9" in ran.output
    assert f'"Marrowgate Stilt-9" = "{STILT}"' in ran.output
    assert '= "marrowgate-stilt-9-2" if it is another' in ran.output
    assert units(root) == ["corvane-r", HERON, STILT]


@pytest.mark.parametrize(("given", "key"), [("1\ny\n", STILT), ("2\ny\n", "marrowgate-stilt-9-2")])
def test_an_answer_decides_and_is_kept_in_the_map(
    root: Path, monkeypatch: pytest.MonkeyPatch, given: str, key: str
) -> None:
    monkeypatch.setattr(answers, "on_terminal", lambda: True)
    monkeypatch.setattr(backfill, "on_terminal", lambda: True)
    row = "2005-02-03,Marrowgate,Stilt 9,,0.2\n"
    ran = imported(root, row, "second", given=given)
    assert ran.exit_code == 0, ran.output
    assert "(row 2) may be in the catalogue already" in ran.output
    assert units(root) == sorted({HERON, STILT, key})
    assert f'"Marrowgate Stilt 9" = "{key}"' in (root / "second.toml").read_text()
    again = imported(root, row, "second", "--yes")
    assert "0 reviews written, 1 unchanged" in again.output


def test_units_that_only_this_sheet_brought_need_no_decision(root: Path) -> None:
    assert "0 reviews written" in imported(root, FIRST, "first", "--yes").output


def test_a_sheet_of_which_nothing_can_be_written_is_no_success(root: Path) -> None:
    ran = imported(root, "2005-02-03,Marrowgate,Stilt-9,,0.2\n", "second", "--yes")
    assert ran.exit_code == 3
    assert "0 reviews, " in ran.output


def test_a_review_that_is_left_out_is_still_in_the_spreadsheet(root: Path) -> None:
    rows = "2005-02-03,Corvane,R,,0.2\n2005-02-03,Corvane,S,,0.2\n"
    assert imported(root, rows, "second", "--yes").exit_code == 0
    ran = imported(root, rows.replace("R,,0.2", "R,,apples"), "second", "--yes")
    assert ran.exit_code == 3
    assert "no figure that can be read" in ran.output
    assert "no longer in the spreadsheet" not in ran.output
