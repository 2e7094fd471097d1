"""The outermost cells of a sheet, looked up before the library lays out all cells between them.

One stray cell in the last row and column of a sheet makes a table of 17 thousand million cells.
"""

from __future__ import annotations

import zipfile
from pathlib import Path

from backbench.backfill.percent_cells import cells_of_ods, cells_of_xlsx, damage_as_value_error
from backbench.backfill.sheet_addresses import address
from backbench.errors import Fault, UserError

MAX_ROWS = 20_000
"""Of a sheet: more than anybody keeps by hand."""


def refuse_stray(path: Path, sheet: str | None, most: int) -> None:
    """Raise UserError where a sheet's cells span more than so many, naming the outermost one.

    sheet: None for an open document, of which the library lays out every sheet as it opens it.
    Raises ValueError or OSError for a damaged file.
    """
    last_row = last_column = (0, 0)
    with damage_as_value_error(), zipfile.ZipFile(path) as archive:
        for place in cells_of_ods(archive) if sheet is None else cells_of_xlsx(archive, sheet):
            last_row = max(last_row, place)
            last_column = max(last_column, place, key=lambda p: p[1])
    rows, columns = last_row[0] + 1, last_column[1] + 1
    if rows * columns <= most and rows <= MAX_ROWS:
        return
    stray = last_column if columns > rows / 64 else last_row
    fault = Fault(
        f"{path}, {sheet}" if sheet else str(path), f"a table of {rows} rows and {columns} columns",
        f"at most {MAX_ROWS} rows and {most} cells",
        f"look at {address(*stray)}: if it stands alone, delete it",
    )  # fmt: skip
    raise UserError("the spreadsheet can't be read", [fault])
