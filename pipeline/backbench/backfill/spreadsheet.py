"""A spreadsheet as rows of cells that know where they stand: CSV, XLSX, ODS."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from backbench.backfill.heading_rows import joined_headings
from backbench.backfill.percent_cells import percent_cells
from backbench.documents.regular_files import open_regular, read_regular, reason_of
from backbench.errors import Fault, UserError
from backbench.quantities.counts import counted

WORKBOOKS = {".xlsx", ".xlsm", ".xls", ".ods"}
MAX_SHEET_BYTES = 100_000_000
TEXTS = {".csv", ".tsv", ".txt"}
Content = str | float | bool | dt.date | None
Percents = set[tuple[int, int]] | None


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
        raise _unreadable(path, "no such file", "a CSV, XLSX or ODS file")
    if suffix in WORKBOOKS:
        return _workbook(path, name)
    if suffix in TEXTS:
        return Grid(path.name, _delimited(path), set())
    raise _unreadable(path, f"an ending {suffix!r}", "one of .csv, .tsv, .xlsx, .xls, .ods")


def sheet_under(path: Path, grid: Grid, header_row: int, heading_rows: int = 1) -> Sheet:
    """The rows of a grid under their headings. Raises UserError as read_sheet does."""
    above = grid.cells[header_row - 1 : header_row - 1 + heading_rows]
    if len(above) < heading_rows:
        raise _unreadable(path, counted(len(grid.cells), "row"), f"headings in row {header_row}")
    headings = joined_headings([[heading_text(cell) for cell in row] for row in above])
    first = header_row + heading_rows
    named = [heading for heading in headings if heading]
    twice = sorted({heading for heading in named if named.count(heading) > 1})
    if twice or not named:
        problem = f"the heading {twice[0]!r} twice" if twice else "no heading"
        raise _unreadable(path, problem, "a different heading for each column")
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
    return "" if content is None else " ".join(str(content).split())


def column(number: int) -> str:
    """A column's letters, from 0: A, B, …, Z, AA."""
    letters = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def _workbook(path: Path, name: str | None) -> Grid:
    from python_calamine import CalamineError, CalamineWorkbook, WorksheetNotFound

    try:
        open_regular(path, MAX_SHEET_BYTES).close()
        book = CalamineWorkbook.from_path(str(path))
        chosen = name or book.sheet_names[0]
        rows = book.get_sheet_by_name(chosen).to_python(skip_empty_area=False)
        percents = percent_cells(path, chosen)
    except WorksheetNotFound:
        known = ", ".join(book.sheet_names)
        raise _unreadable(path, f"no sheet {name!r}", f"one of: {known}") from None
    except (CalamineError, OSError, IndexError, ValueError) as error:
        raise _unreadable(path, str(error) or "a damaged file", "a workbook") from None
    cells = [[_content(cell) for cell in row] for row in rows]
    others = tuple(sheet for sheet in book.sheet_names if sheet != chosen)
    return Grid(f"{path.name}, {chosen}", cells, percents, others)


def _content(cell: object) -> Content:
    """Numbers as float, moments as their day, nothing as None."""
    if isinstance(cell, bool):
        return cell
    if isinstance(cell, (int, float)):
        return float(cell)
    if isinstance(cell, dt.datetime):
        return cell.date()
    if isinstance(cell, dt.date):
        return cell
    text = str(cell).strip()
    return text or None


def _delimited(path: Path) -> list[list[Content]]:
    """Rows of a text file; the delimiter is the one that gives the most even rows."""
    try:
        data = read_regular(path, MAX_SHEET_BYTES)
    except OSError as error:
        raise _unreadable(path, reason_of(error), "a readable file") from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        # Older spreadsheets write Western texts in this code page; every byte has a meaning in it.
        text = data.decode("cp1252", errors="replace")
    best = max((_split(text, mark) for mark in ("\t", ";", ",")), key=_evenness)
    return [[cell.strip() or None for cell in row] for row in best]


def _split(text: str, mark: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline=""), delimiter=mark))


def _evenness(rows: Iterable[list[str]]) -> tuple[int, int]:
    """Rows as wide as the widest heading row, then the width."""
    widths = [len(row) for row in rows if row]
    if not widths or widths[0] < 2:
        return (0, 0)
    return (sum(width == widths[0] for width in widths), widths[0])


def _unreadable(path: Path, problem: str, expected: str) -> UserError:
    return UserError("the spreadsheet can't be read", [Fault(str(path), problem, expected)])
