"""A spreadsheet as rows of cells that know where they stand: CSV, XLSX, ODS."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from backbench.backfill.heading_rows import joined_headings
from backbench.backfill.sheet_addresses import column
from backbench.backfill.text_sheets import MAX_SHEET_BYTES, text_cells
from backbench.backfill.workbooks import Content, Percents, read_answer, unreadable
from backbench.documents.regular_files import open_regular, reason_of
from backbench.quantities.counts import counted
from backbench.readers.limited_process import TookTooMuch, read_in_process

WORKBOOKS = {".xlsx", ".xlsm", ".xls", ".ods"}
LONGEST_HEADING = 200
"""Characters; what follows tells no column from another."""
TEXTS = {".csv", ".tsv", ".txt"}


@dataclass(frozen=True)
class Cell:
    """What stands in a cell, and its address, as F12.

    is_percent: a fraction of one that the sheet shows as a percentage; None where a number of
        this kind of file may be one.
    """

    content: Content
    address: str
    is_percent: bool | None = False

    @property
    def text(self) -> str:
        """The content as text, without space about it; empty where there is none."""
        if self.content is None:
            return ""
        if isinstance(self.content, float):
            return f"{100 * self.content:.15g} %" if self.is_percent else f"{self.content:.15g}"
        return str(self.content).strip()

    @property
    def is_number(self) -> bool:
        return isinstance(self.content, float)


@dataclass(frozen=True)
class Row:
    """A row by its number in the sheet, with its cells by heading."""

    number: int
    cells: dict[str, Cell]

    @property
    def is_empty(self) -> bool:
        return not any(cell.text for cell in self.cells.values())


@dataclass(frozen=True)
class Sheet:
    """source: the file's name, with the sheet's where there are several."""

    source: str
    headings: list[str]
    rows: list[Row]


@dataclass(frozen=True)
class Grid:
    """Every cell of a sheet. percents: rows and columns, from 0, shown as percentages; None where
    the kind of file can't tell. others: names of the workbook's other sheets."""

    source: str
    cells: list[list[Content]]
    percents: Percents
    others: tuple[str, ...] = ()


def read_sheet(
    path: Path, name: str | None = None, header_row: int = 1, heading_rows: int = 1
) -> Sheet:
    """A sheet of a file, the first one where no name is given. header_row counts from 1.

    Raises UserError where it can't be read, or headings are missing or stand twice.
    """
    return sheet_under(path, read_grid(path, name), header_row, heading_rows)


def read_grid(path: Path, name: str | None = None) -> Grid:
    """The cells of a sheet, the first one where no name is given. Raises UserError."""
    suffix = path.suffix.lower()
    if not path.is_file():
        raise unreadable(path, "no such file", "a CSV, XLSX or ODS file")
    if suffix in WORKBOOKS:
        return _workbook(path, name)
    if suffix in TEXTS:
        return Grid(path.name, text_cells(path), set())
    raise unreadable(path, f"an ending {suffix!r}", "one of .csv, .tsv, .xlsx, .xls, .ods")


def sheet_under(path: Path, grid: Grid, header_row: int, heading_rows: int = 1) -> Sheet:
    """The rows of a grid under their headings. Raises UserError as read_sheet does."""
    above = grid.cells[header_row - 1 : header_row - 1 + heading_rows]
    if len(above) < heading_rows:
        raise unreadable(path, counted(len(grid.cells), "row"), f"headings in row {header_row}")
    headings = joined_headings([[heading_text(cell) for cell in row] for row in above])
    first = header_row + heading_rows
    named = [heading for heading in headings if heading]
    twice = sorted({heading for heading in named if named.count(heading) > 1})
    if twice or not named:
        problem = f"the heading {twice[0]!r} twice" if twice else "no heading"
        raise unreadable(path, problem, "a different heading for each column")
    rows = [
        Row(number, _cells(headings, cells, number, grid.percents))
        for number, cells in enumerate(grid.cells[first - 1 :], start=first)
    ]
    return Sheet(grid.source, named, [row for row in rows if not row.is_empty])


def _cells(
    headings: list[str], contents: list[Content], number: int, percents: Percents
) -> dict[str, Cell]:
    """The cells of a row by heading; what stands under no heading is left out."""
    return {
        heading: Cell(content, f"{column(n)}{number}", _is_percent(percents, number - 1, n))
        for n, (heading, content) in enumerate(zip(headings, contents, strict=False))
        if heading
    }


def _is_percent(percents: Percents, row: int, n: int) -> bool | None:
    return None if percents is None else (row, n) in percents


def heading_text(content: Content) -> str:
    """A heading as it is named in a map: one line, single spaces."""
    if isinstance(content, float):
        return f"{content:.15g}"
    return "" if content is None else " ".join(str(content)[:LONGEST_HEADING].split())


def _workbook(path: Path, name: str | None) -> Grid:
    try:
        open_regular(path, MAX_SHEET_BYTES).close()
        data = read_in_process("backbench.backfill.workbooks", {"path": str(path), "sheet": name})
    except OSError as error:
        raise unreadable(path, reason_of(error), "a workbook") from None
    except TookTooMuch as error:
        expected = "one that unfolds to at most 1 GiB in 30 s"
        raise unreadable(path, f"a workbook that was given up: {error}", expected) from None
    sheet = read_answer(data)
    return Grid(f"{path.name}, {sheet.name}", sheet.cells, sheet.percents, sheet.others)
