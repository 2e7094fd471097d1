"""A spreadsheet saved as text: its cells, by the separator that gives the most even rows."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from backbench.backfill.outermost_cells import MAX_ROWS
from backbench.backfill.workbooks import MAX_CELLS, Content, unreadable
from backbench.documents.regular_files import open_regular, read_regular, reason_of
from backbench.readers.limited_process import TookTooMuch, read_in_process, serve

MAX_SHEET_BYTES = 100_000_000
SMALL_BYTES = 2_000_000
"""Of a file that this process reads itself: whatever stands in it, it takes little memory."""


def text_cells(path: Path) -> list[list[Content]]:
    """The cells of every row; a large file is read by another process. Raises UserError."""
    try:
        with open_regular(path, MAX_SHEET_BYTES) as stream:
            small = stream.seek(0, io.SEEK_END) <= SMALL_BYTES
        if small:
            return text_cells_here(path)
        cells: list[list[Content]] = json.loads(read_in_process(__name__, {"path": str(path)}))
    except OSError as error:
        raise unreadable(path, reason_of(error), "a readable file") from None
    except TookTooMuch as error:
        expected = "one that takes at most 1 GiB and 30 s to read"
        raise unreadable(path, f"a text that was given up: {error}", expected) from None
    return cells


def text_cells_here(path: Path) -> list[list[Content]]:
    """The same in this process, without its bounds of memory and time."""
    data = read_regular(path, MAX_SHEET_BYTES)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        # Older spreadsheets write Western texts in this code page; every byte has a meaning in it.
        text = data.decode("cp1252", errors="replace")
    splits = [rows for mark in ("\t", ";", ",") if (rows := _split(text, mark)) or not text]
    if not splits:
        found = f"a cell of more than {csv.field_size_limit()} characters"
        raise unreadable(path, found, "shorter cells")
    best = max(splits, key=_evenness)
    _refuse_large(path, len(best), max(map(len, best), default=0))
    return [[cell.strip() or None for cell in row] for row in best]


def _split(text: str, mark: str) -> list[list[str]]:
    """Rows of cells; none where a cell is longer than any spreadsheet's."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
    try:
        return list(reader)
    except csv.Error:
        return []


def _evenness(rows: Iterable[list[str]]) -> tuple[int, int]:
    """Rows as wide as the widest heading row, then the width."""
    widths = [len(row) for row in rows if row]
    if not widths or widths[0] < 2:
        return (0, 0)
    return (sum(width == widths[0] for width in widths), widths[0])


def _refuse_large(path: Path, rows: int, columns: int) -> None:
    if rows * columns > MAX_CELLS or rows > MAX_ROWS:
        found = f"{rows} rows of {columns} columns"
        raise unreadable(path, found, f"at most {MAX_ROWS} rows and {MAX_CELLS} cells")


def _answer(request: dict[str, Any]) -> bytes:
    return json.dumps(text_cells_here(Path(request["path"]))).encode()


if __name__ == "__main__":
    serve(_answer)
