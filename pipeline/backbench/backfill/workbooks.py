"""A sheet of a workbook, read in a process of its own: a few bytes may unfold to any size."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from backbench.backfill.outermost_cells import MAX_ROWS, refuse_stray
from backbench.backfill.percent_cells import percent_cells
from backbench.errors import Fault, UserError
from backbench.readers.limited_process import serve

Content = str | float | bool | dt.date | None
Percents = set[tuple[int, int]] | None
MAX_CELLS = 4_000_000
"""Of a sheet, empty ones between others counted: such as 20,000 rows of 200 columns."""


@dataclass(frozen=True)
class WorkbookSheet:
    """A sheet by name, with its cells, those shown as percentages, and the other sheets' names."""

    name: str
    cells: list[list[Content]]
    percents: Percents
    others: tuple[str, ...]


def read_workbook(path: Path, name: str | None) -> WorkbookSheet:
    """A sheet, the first one where no name is given. Raises UserError."""
    from python_calamine import CalamineError, CalamineWorkbook, WorksheetNotFound

    try:
        suffix = path.suffix.lower()
        if suffix == ".ods":
            refuse_stray(path, None, MAX_CELLS)
        book = CalamineWorkbook.from_path(str(path))
        chosen = name or book.sheet_names[0]
        if suffix in {".xlsx", ".xlsm"} and chosen in book.sheet_names:
            refuse_stray(path, chosen, MAX_CELLS)
        rows = book.get_sheet_by_name(chosen).to_python(skip_empty_area=False)
        percents = percent_cells(path, chosen)
    except WorksheetNotFound:
        known = ", ".join(book.sheet_names)
        raise unreadable(path, f"no sheet {name!r}", f"one of: {known}") from None
    except (CalamineError, OSError, IndexError, ValueError) as error:
        raise unreadable(path, _one_line(error), "a workbook") from None
    if len(rows) > MAX_ROWS:
        raise unreadable(path, f"{len(rows)} rows", f"at most {MAX_ROWS}")
    cells = [[_content(cell) for cell in row] for row in rows]
    others = tuple(sheet for sheet in book.sheet_names if sheet != chosen)
    return WorkbookSheet(chosen, cells, percents, others)


def _one_line(error: Exception) -> str:
    text = " ".join(str(error).split())
    return f"a damaged file ({text[:200]})" if text else "a damaged file"


def unreadable(path: Path, problem: str, expected: str) -> UserError:
    """One fault of a spreadsheet."""
    return UserError("the spreadsheet can't be read", [Fault(str(path), problem, expected)])


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


# Between the processes ------------------------------------------------------------------------


def _answer(request: dict[str, Any]) -> bytes:
    sheet = read_workbook(Path(request["path"]), request["sheet"])
    percents = None if sheet.percents is None else sorted(sheet.percents)
    return json.dumps(
        {"name": sheet.name, "cells": sheet.cells, "percents": percents, "others": sheet.others},
        default=lambda day: {"day": day.isoformat()},
    ).encode()


def read_answer(data: bytes) -> WorkbookSheet:
    """The sheet that the other process read."""
    given = json.loads(data)
    cells = [[_day(cell) if isinstance(cell, dict) else cell for cell in row]
             for row in given["cells"]]  # fmt: skip
    percents = None if given["percents"] is None else {(r, c) for r, c in given["percents"]}
    return WorkbookSheet(given["name"], cells, percents, tuple(given["others"]))


def _day(cell: dict[str, str]) -> dt.date:
    return dt.date.fromisoformat(cell["day"])


if __name__ == "__main__":
    serve(_answer)
