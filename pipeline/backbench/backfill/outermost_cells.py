"""The outermost cells of a sheet, looked up before the library lays out all cells between them.

One stray cell in the last row and column of a sheet makes a table of 17 thousand million cells.
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from pathlib import Path

from backbench.backfill.percent_cells import cells_of_ods, cells_of_xlsx, damage_told
from backbench.backfill.sheet_addresses import address
from backbench.errors import Fault, UserError

MAX_ROWS = 20_000
"""Of a sheet: more than anybody keeps by hand."""
Place = tuple[int, int]


def refuse_stray(path: Path, sheet: str, most: int) -> None:
    """Raise UserError where a sheet's cells span more than so many, naming the outermost one.

    Raises ValueError or OSError for a damaged file. A format whose sheets are small is not read.
    """
    last_row = last_column = (0, 0)
    with damage_told():
        for place in _filled(path, sheet):
            last_row = max(last_row, place)
            last_column = max(last_column, place, key=lambda p: p[1])
    rows, columns = last_row[0] + 1, last_column[1] + 1
    if rows * columns <= most and rows <= MAX_ROWS:
        return
    stray = last_column if columns > rows / 64 else last_row
    fault = Fault(
        f"{path}, {sheet}", f"a table of {rows} rows and {columns} columns",
        f"at most {MAX_ROWS} rows and {most} cells",
        f"look at {address(*stray)}: if it stands alone, delete it",
    )  # fmt: skip
    raise UserError("the spreadsheet can't be read", [fault])


def _filled(path: Path, sheet: str) -> Iterator[Place]:
    suffix = path.suffix.lower()
    if suffix == ".xls":
        return
    with zipfile.ZipFile(path) as archive:
        yield from (
            cells_of_ods(archive, sheet) if suffix == ".ods" else cells_of_xlsx(archive, sheet)
        )
