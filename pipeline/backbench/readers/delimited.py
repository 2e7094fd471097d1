"""Tables as text: CSV and TSV in UTF-8, `#` lines skipped, decimal points."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import polars as pl

from backbench.documents.regular_files import read_regular, reason_of
from backbench.documents.stimuli import Table
from backbench.errors import Fault, UserError
from backbench.readers.declaration import TableData, TableFormat
from backbench.readers.file_formats import unreadable
from backbench.readers.table_columns import MAX_ROWS, converted, declared, present

MAX_BYTES = 200_000_000
MAX_COLUMNS = 10_000
UTF16 = (b"\xff\xfe", b"\xfe\xff")


def is_text(head: bytes, suffix: str) -> bool:
    """Text without zero bytes that is UTF-8 up to a character cut at the end of the head.

    UTF-16 is taken too, so that it can be told by name.
    """
    if head.startswith(UTF16):
        return True
    if not head or b"\x00" in head or head.startswith((b"fLaC", b"PAR1")):
        return False
    try:
        head.decode("utf-8")
    except UnicodeDecodeError as error:
        return suffix in {".csv", ".tsv", ".txt"} or error.start >= len(head) - 3
    return True


def read_delimited(path: Path, name: str, table: Table) -> TableData:
    """The declared columns. Raises UserError naming line and cell of what is not a number."""
    wanted = declared(table, name)
    lines = _lines(path, name)
    separator = "\t" if "\t" in lines[0][1] else ","
    cells = _cells(lines, separator, name)
    names = [str(cell or "").strip() for cell in cells.row(0)]
    present(table.columns, names, name)
    body = cells.slice(1)
    used = {column for column, _ in wanted.values()}
    frame = pl.DataFrame([body.to_series(names.index(c)).rename(c) for c in sorted(used)])
    return converted(frame, wanted, name, lambda row: f"line {lines[row + 1][0]}")


def _lines(path: Path, name: str) -> list[tuple[int, str]]:
    """Lines that are neither comments nor blank, with their numbers from 1; header first."""
    try:
        data = read_regular(path, MAX_BYTES)
    except OSError as error:
        expected = f"a file of at most {MAX_BYTES} bytes"
        raise unreadable(name, reason_of(error), expected) from None
    if data.startswith(UTF16):
        raise unreadable(name, "text in UTF-16", "text in UTF-8", "save it as UTF-8")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        problem = f"a byte at {error.start} that is not UTF-8"
        raise unreadable(name, problem, "text in UTF-8", "save it as UTF-8") from None
    numbered = enumerate(io.StringIO(text, newline=None), start=1)
    kept = [(n, line.rstrip("\n")) for n, line in numbered if _counts(line)]
    if not kept:
        raise unreadable(name, "no header line", "a line of column names")
    if len(kept) - 1 > MAX_ROWS:
        raise unreadable(name, f"{len(kept) - 1} rows", f"at most {MAX_ROWS}")
    return kept


def _counts(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def _cells(lines: list[tuple[int, str]], separator: str, name: str) -> pl.DataFrame:
    """Cells as text, the header as row 0. Raises UserError where the lines are no table."""
    if separator == "," and ";" in lines[0][1] and "," not in lines[0][1]:
        raise unreadable(name, "semicolons between cells", "commas or tabs", "export it again")
    width = lines[0][1].count(separator) + 1
    if width > MAX_COLUMNS:
        raise unreadable(name, f"{width} columns", f"at most {MAX_COLUMNS}", "keep those declared")
    try:
        cells = pl.read_csv(
            io.BytesIO("\n".join(line for _, line in lines).encode()),
            has_header=False, separator=separator, infer_schema=False,
        )  # fmt: skip
    except pl.exceptions.PolarsError as error:
        raise UserError(f"{name} can't be read", [_ragged(lines, separator, name, error)]) from None
    if cells.height != len(lines):
        fault = Fault(name, "quoted cells that run over lines", "one row a line")
        raise UserError(f"{name} can't be read", [fault])
    return cells


def _ragged(
    lines: list[tuple[int, str]], separator: str, name: str, error: pl.exceptions.PolarsError
) -> Fault:
    """Polars doesn't say which line has too many cells; look for it."""
    width = len(next(csv.reader([lines[0][1]], delimiter=separator)))
    for number, line in lines:
        cells = next(csv.reader([line], delimiter=separator))
        if len(cells) > width:
            return Fault(f"{name}, line {number}", f"{len(cells)} cells", f"{width}, as the header")
    return Fault(name, str(error).splitlines()[0].strip(), "a table")


DELIMITED = TableFormat("delimited table (CSV, TSV)", is_text, read_delimited)
