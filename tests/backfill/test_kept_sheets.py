"""Spreadsheets as people keep them, from the proposal of a map to the readings, with dialogues.

The dialogues stand in `dialogues/`, as a terminal shows them.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.commands import answers, backfill
from backfill.kept_sheets import semicolon_sheet, several_sheets, wide_sheet

DIALOGUES = Path(__file__).parent / "dialogues"


class Terminal:
    """Commands run in a folder as on a terminal, and all that was shown."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder, self.shown = folder, ""
        monkeypatch.chdir(folder)
        monkeypatch.setattr(answers, "on_terminal", lambda: True)
        monkeypatch.setattr(backfill, "on_terminal", lambda: True)
        Catalogue.create(folder / "catalogue", 'title = "Old records"\n')

    def run(self, *words: str, answered: tuple[str, ...] = ()) -> int:
        """One command with its answers; the exit code."""
        given = "".join(f"{answer}\n" for answer in answered)
        ran = CliRunner().invoke(app, ["backfill", *words], input=given)
        if ran.exception and not isinstance(ran.exception, SystemExit):
            raise ran.exception
        self.shown += f"$ backbench backfill {' '.join(words)}\n{ran.output}\n"
        return ran.exit_code

    def readings(self) -> dict[tuple[str, str], list[tuple[object, ...]]]:
        """Value, bound, uncertainty, power and load by unit and metric."""
        result: dict[tuple[str, str], list[tuple[object, ...]]] = {}
        for row in Catalogue(self.folder / "catalogue").readings().iter_rows(named=True):
            figure = tuple(row[n] for n in ("value", "bound", "uncertainty", "power_w", "load_ohm"))
            result.setdefault((row["unit_key"], row["metric"]), []).append(figure)
        return result

    def is_kept_as(self, name: str) -> None:
        """Hold the dialogue against the one that is kept."""
        assert self.shown == (DIALOGUES / name).read_text(encoding="utf-8")


@pytest.fixture
def terminal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Terminal:
    return Terminal(tmp_path, monkeypatch)


def test_a_wide_workbook_with_a_title_and_headings_over_columns(terminal: Terminal) -> None:
    sheet = wide_sheet(terminal.folder).name
    proposed = terminal.run(
        sheet, "--map", "bench-book.toml", "--propose",
        answered=("notebook", "50", "tube", "y", "2"),
    )  # fmt: skip
    assert proposed == 0
    assert terminal.run(sheet, "--map", "bench-book.toml", "-c", "catalogue", answered=("y",)) == 3
    read = terminal.readings()
    assert read["marrowgate-heron-40-10423", "thd"] == [
        (pytest.approx(0.08), None, None, 1.0, 8.0), (pytest.approx(0.31), None, None, 10.0, 8.0),
    ]  # fmt: skip
    ((value, bound, uncertainty, *_),) = read["marrowgate-heron-40-10977", "noise"]
    assert (value, bound, uncertainty) == (pytest.approx(1.9e-3), None, pytest.approx(1e-4))
    assert read["corvane-r-40", "noise"][0][0] == pytest.approx(10 ** (-62 / 20))
    assert "the footnote in row 10" in terminal.shown
    assert "row 9 was taken for a total" in terminal.shown
    assert ("average", "thd") not in read
    terminal.is_kept_as("wide-workbook.txt")


def test_a_text_file_with_decimal_commas_and_conditions_in_cells(terminal: Terminal) -> None:
    sheet = semicolon_sheet(terminal.folder).name
    proposed = terminal.run(
        sheet, "--map", "notes.toml", "--propose",
        answered=("3 April 2011", "notebook", "50", "1", "serviced", "%"),
    )  # fmt: skip
    assert proposed == 0
    assert terminal.run(sheet, "--map", "notes.toml", "-c", "catalogue", answered=("y",)) == 3
    read = terminal.readings()
    assert read["marrowgate-heron-40", "power_at_limit"] == [(12.0, None, None, None, 8.0)]
    assert read["tern-vale-dipper-ii", "power_at_limit"][0][0] == 1250.0
    assert read["tern-vale-dipper-ii", "thd"][0][0] == pytest.approx(1.234)
    assert read["tern-vale-dipper", "damping_factor"][0][:2] == (200.0, "lower")
    days = Catalogue(terminal.folder / "catalogue").reviews()["reviewed"].to_list()
    assert [day.isoformat() for day in days] == ["2011-04-03", "2011-04-11", "2011-06-05"]
    terminal.is_kept_as("decimal-commas.txt")


def test_a_workbook_of_several_sheets_with_units_that_return(terminal: Terminal) -> None:
    sheet = several_sheets(terminal.folder).name
    terminal.run(sheet, "--map", "power.toml", "--propose",
                 answered=("2", "notebook", "50", "power amplifier"))  # fmt: skip
    assert terminal.run(sheet, "--map", "power.toml", "-c", "catalogue", answered=("y",)) == 3
    read = terminal.readings()
    assert [figure[0] for figure in read["aldermoor-crane", "thd_n"]] == [0.21, 0.14]
    assert [figure[0] for figure in read["aldermoor-crane", "snr"]] == [88.0]
    terminal.run(sheet, "--map", "pre.toml", "--propose",
                 answered=("Preamplifiers", "notebook", "50", "preamplifer", "y"))  # fmt: skip
    assert terminal.run(sheet, "--map", "pre.toml", "-c", "catalogue", answered=("y",)) == 3
    read = terminal.readings()
    assert read["aldermoor-wren", "separation"][0][0] == 58.0
    assert ("aldermoor-wren-s", "separation") not in read
    assert "write 1960-69" in terminal.shown
    terminal.is_kept_as("several-sheets.txt")
