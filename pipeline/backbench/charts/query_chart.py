"""The chart of a saved query's answer, with its words: finding, question, conditions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from backbench.charts.drawing import PAGE, Labels, Size
from backbench.charts.registry import chart_named
from backbench.quantities.sentences import listed
from backbench.quantities.writing import in_text
from backbench.querying.missing_reason import missing_reason

if TYPE_CHECKING:
    import altair as alt
    import polars as pl

    from backbench.querying.saved_queries import SavedQuery
    from backbench.storage.database import Database

TAKEN_AT = "Taken at"
"""Title of columns that hold what a curve was taken at, the same in each row of an output."""


def query_chart(
    store: Database, query: SavedQuery, frame: pl.DataFrame, values: Mapping[str, str],
    conditions: str, title: str = "", size: Size = PAGE,
) -> alt.TopLevelMixin:  # fmt: skip
    """The chart that the query's header names, of rows already run with these values.

    title: the query's own where left out. The unit among the values is the one to mark; where
    the answer has no value of it, the picture says why and which units have one.
    """
    assert query.chart is not None
    unit = values.get("unit", "")
    lacking = bool(unit) and "unit_key" in frame.columns and unit not in frame["unit_key"]
    labels = Labels(
        query.columns,
        title or query.title,
        "; ".join(filter(None, (conditions, taken_at(query, frame)))),
        question=query.question.partition("?")[0] + "?" * ("?" in query.question),
        missing=missing_reason(store, query, unit) if lacking else "",
    )
    return chart_named(query.chart).draw(frame, labels, unit, size, query.chart_options)


def taken_at(query: SavedQuery, frame: pl.DataFrame) -> str:
    """What the curves of an answer were taken at, by its columns: "taken at 4.9 W"."""
    texts = [
        in_text(value, column.unit)
        for column in query.columns
        if column.title == TAKEN_AT
        for value in frame[column.name].drop_nulls().unique(maintain_order=True)
    ]
    return f"taken at {listed(dict.fromkeys(texts))}" if texts else ""
