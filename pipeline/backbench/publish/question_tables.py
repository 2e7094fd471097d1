"""The answer of a saved query as the cells of a page's table, numbers aligned at their points."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from backbench.publish.render import NONE_SHOWN
from backbench.quantities.number_columns import number_column

if TYPE_CHECKING:
    import polars as pl

    from backbench.querying.query_header import ResultColumn

Cell = dict[str, Any]
"""What the template shows of a value: text, whether it is a number, or else stays on one line, and
the unit it links to."""


def table_rows(columns: Sequence[ResultColumn], frame: pl.DataFrame) -> list[tuple[Cell, ...]]:
    """The rows of an answer, each a cell a column of the query's header."""
    by_column = [list(_cells(column.name, frame[column.name].to_list())) for column in columns]
    return list(zip(*by_column, strict=True))


def _cells(name: str, values: Sequence[Any]) -> Iterator[Cell]:
    known = [value for value in values if value is not None]
    if known and all(isinstance(value, float) for value in known):
        for text in number_column(values, none_shown=NONE_SHOWN).texts:
            yield {"text": text, "number": True, "kept": False, "link": ""}
        return
    numbers = bool(known) and all(type(value) is int for value in known)
    for value in values:
        kept = isinstance(value, dt.date)
        yield {**_cell(name, value), "number": numbers, "kept": kept}


def _cell(name: str, value: Any) -> Cell:
    if value is None:
        return {"text": NONE_SHOWN, "link": ""}
    if isinstance(value, bool):
        return {"text": "yes" if value else "no", "link": ""}
    if isinstance(value, list):
        value = ", ".join(str(item) for item in value)
    return {"text": str(value), "link": str(value) if name == "unit_key" and value else ""}
