"""Tables as text, as instruments and people save them.

The encoding, the lines before the table, headings, units, the separator and the decimal sign are
worked out from the text; what has two readings is refused.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

from backbench.documents.regular_files import open_regular, reason_of
from backbench.documents.stimuli import Table
from backbench.documents.validation import shortened
from backbench.errors import Fault, UserError
from backbench.readers.column_lookup import located, unused
from backbench.readers.complex_columns import (
    complex_columns,
    headings_of_parts,
    source_of,
    with_parts,
)
from backbench.readers.compound_cells import is_compound
from backbench.readers.declaration import TableData, TableFormat
from backbench.readers.file_formats import unreadable
from backbench.readers.table_cells import cells_of, is_mark, is_number
from backbench.readers.table_columns import MAX_ROWS, Rows, converted, declared
from backbench.readers.tables_apart import read_apart, serve_tables
from backbench.readers.text_encoding import decoded, is_text
from backbench.readers.text_layout import (
    NoTable,
    TextLayout,
    TwoLayouts,
    is_comment,
    layout_of,
)

MAX_BYTES = 200_000_000
SMALL_BYTES = 2_000_000
"""Of a file that this process reads itself: whatever stands in it, it takes little of either."""
MAX_COLUMNS = 10_000


@dataclass(frozen=True)
class Body:
    """The rows of a table in a text, each with as many cells, and their numbers from 1.

    odd: lines that may be rows, with the reason why they are none. text: those without a number.
    """

    lines: list[str]
    numbers: list[int]
    odd: list[tuple[int, str]]
    text: list[tuple[int, str]]

    def counts(self) -> NDArray[np.float64]:
        """Number of each row among all, odd lines counted, from 0."""
        rows, odd = np.array(self.numbers), np.array([number for number, _ in self.odd])
        return (np.arange(len(rows)) + np.searchsorted(odd, rows)).astype(np.float64)


def read_delimited(path: Path, name: str, table: Table) -> TableData:
    """The declared columns. Raises UserError naming line and cell of what is not a number.

    A large file is read by another process: a line of one character takes sixty bytes of memory.
    """
    if path.is_file() and path.stat().st_size > SMALL_BYTES:
        return read_apart(__name__, path, name, table, "text")
    return read_delimited_here(path, name, table)


def read_delimited_here(path: Path, name: str, table: Table) -> TableData:
    """The same in this process, without its bounds of memory and time."""
    wanted = declared(table, name)
    lines = text_lines(path, name)
    try:
        layout = text_layout(lines, name)
    except NoTable:
        raise unreadable(name, "no rows: no line of numbers", "a table of numbers") from None
    found = complex_columns(lines, layout)
    headings = (*layout.headings, *headings_of_parts(layout, found))
    places = located(table.columns, headings, name)
    sources = [source_of(place, layout, found) for place in places.values()]
    body = _body(lines, layout, min(sources, default=0), name)
    cells = with_parts(_cells(body, layout, name), found, layout.decimal)
    frame = pl.DataFrame({key: cells.to_series(place) for key, place in places.items()})
    rows = Rows(
        frame,
        lambda row: f"line {body.numbers[row]}",
        layout.decimal,
        left_out=[f"line {number}: {reason}" for number, reason in body.odd],
        text=[f"line {number}: {text}" for number, text in body.text],
        counts=body.counts(),
        unused=unused(headings, places, table),
    )
    return converted(rows, wanted, name, table)


def text_lines(path: Path, name: str) -> list[str]:
    """The lines of a text file. Raises UserError where it can't be read."""
    return _lines(_bytes(path, name, MAX_BYTES), name)


def first_lines(path: Path, name: str) -> list[str]:
    """Those of the first SMALL_BYTES, which tell how the table stands. Raises UserError."""
    data = _bytes(path, name, SMALL_BYTES)
    if len(data) == SMALL_BYTES:
        data = data[: data.rfind(b"\n")]
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            data = data[: len(data) & ~1]
    return _lines(data, name)


def _bytes(path: Path, name: str, most: int) -> bytes:
    try:
        with open_regular(path, MAX_BYTES) as stream:
            return stream.read(most)
    except OSError as error:
        expected = f"a file of at most {MAX_BYTES} bytes"
        raise unreadable(name, reason_of(error), expected) from None


def _lines(data: bytes, name: str) -> list[str]:
    try:
        text = decoded(data)
    except ValueError as error:
        problem = "text in a damaged encoding" if isinstance(error, UnicodeError) else str(error)
        raise unreadable(name, problem, "text", "save it as UTF-8") from None
    lines = [line.rstrip("\n") for line in io.StringIO(text, newline=None)]
    longest = csv.field_size_limit()
    for number, line in enumerate(lines, start=1):
        if len(line) > longest and '"' in line:
            found = f"{len(line)} characters with quotation marks in line {number}"
            raise unreadable(name, found, f"quoted cells of at most {longest} characters")
    return lines


def text_layout(lines: Sequence[str], name: str) -> TextLayout:
    """How the table stands in the lines.

    Raises NoTable where there is none, UserError where it has two readings or is too wide.
    """
    widest = max(
        (line.count(s) for line in lines if len(line) >= MAX_COLUMNS for s in "\t;,|"), default=0
    )
    if widest >= MAX_COLUMNS:
        raise _too_wide(widest + 1, name)
    try:
        layout = layout_of(lines)
    except TwoLayouts as error:
        remedy = "save it with decimal points, and tabs or semicolons between the cells"
        raise unreadable(name, str(error), "a table with one reading", remedy) from None
    if layout.width > MAX_COLUMNS:
        raise _too_wide(layout.width, name)
    return layout


def _too_wide(columns: int, name: str) -> UserError:
    return unreadable(name, f"{columns} columns", f"at most {MAX_COLUMNS}", "keep those declared")


def _body(lines: Sequence[str], layout: TextLayout, leading: int, name: str) -> Body:
    """The rows, and the lines after the first row that are none."""
    rest = list(lines[layout.first :])
    regular = _regular(rest, layout)
    kept = regular.copy()
    odd: list[tuple[int, str]] = []
    text: list[tuple[int, str]] = []
    for k in np.flatnonzero(~regular).tolist():
        if _is_no_row(rest[k], layout):
            continue
        cells = cells_of(rest[k], layout.separator)
        if _is_text(cells, leading, layout):
            text.append((layout.first + k + 1, shortened(" ".join(cells))))
        elif len(cells) <= layout.width:
            kept[k] = True
            rest[k] = _filled(cells, layout)
        else:
            odd.append((layout.first + k + 1, f"{len(cells)} cells instead of {layout.width}"))
    rows = np.flatnonzero(kept).tolist()
    if len(rows) > MAX_ROWS:
        raise unreadable(name, f"{len(rows)} rows", f"at most {MAX_ROWS}")
    return Body([rest[k] for k in rows], [layout.first + k + 1 for k in rows], odd, text)


def _regular(lines: Sequence[str], layout: TextLayout) -> NDArray[np.bool_]:
    """Lines that begin as a number does and have as many plain cells as the table."""
    text = pl.Series(lines, dtype=pl.String)
    if layout.separator == " ":
        return np.zeros(len(lines), dtype=bool)
    parted = text.str.count_matches(layout.separator, literal=True) == layout.width - 1
    plain = text.str.contains(r"^[-+.0-9]") & ~text.str.contains('"', literal=True)
    return np.asarray((parted & plain).to_numpy(), dtype=bool)


def _is_no_row(line: str, layout: TextLayout) -> bool:
    return not line.strip() or (is_comment(line) and not _begins_empty(line, layout))


def _is_text(cells: list[str], leading: int, layout: TextLayout) -> bool:
    """Whether a line is text among the rows: a title, the headings again, a total or a mean.

    leading: position of the first declared column, of which a row has a number or a mark for none.
    """
    if not any(
        is_number(cell, layout.decimal) or is_mark(cell) or is_compound(cell, layout.decimal)
        for cell in cells
    ):
        return True
    first = cells[leading] if leading < len(cells) else ""
    return bool(first) and not is_mark(first) and not any(sign.isdigit() for sign in first)


def _filled(cells: list[str], layout: TextLayout) -> str:
    """A row with as many cells as the table, parted by one character."""
    parted = "\t" if layout.separator == " " else layout.separator
    return parted.join(
        _written(cell, parted) for cell in cells + [""] * (layout.width - len(cells))
    )


def _written(cell: str, separator: str) -> str:
    if separator not in cell and '"' not in cell:
        return cell
    doubled = cell.replace('"', '""')
    return f'"{doubled}"'


def _begins_empty(line: str, layout: TextLayout) -> bool:
    """Whether a semicolon that a line begins with parts its empty first cell from the next."""
    return layout.separator == ";" and line.lstrip().startswith(";")


def _cells(body: Body, layout: TextLayout, name: str) -> pl.DataFrame:
    """Cells as text, one column each; those that a row lacks are empty."""
    separator = "\t" if layout.separator == " " else layout.separator
    try:
        cells = pl.read_csv(
            io.BytesIO("\n".join(body.lines).encode()),
            has_header=False, separator=separator, infer_schema=False,
        )  # fmt: skip
    except pl.exceptions.PolarsError as error:
        problem = str(error).splitlines()[0].strip()
        raise UserError(f"{name} can't be read", [Fault(name, problem, "a table")]) from None
    if cells.height != len(body.lines):
        fault = Fault(name, "quoted cells that run over lines", "one row a line")
        raise UserError(f"{name} can't be read", [fault])
    return cells


DELIMITED = TableFormat("delimited table (text)", is_text, read_delimited)

if __name__ == "__main__":
    serve_tables(read_delimited_here)
