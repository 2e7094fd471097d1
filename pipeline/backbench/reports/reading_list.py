"""All figures of one review as a table: in words for a terminal, as numbers for a file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from backbench.comparison.stale_figures import MARK
from backbench.errors import UserError
from backbench.metrics.metric_names import metric_key, unknown_metric
from backbench.quantities.writing import in_text, measured, ordinary
from backbench.storage.light_rows import LightRows

if TYPE_CHECKING:
    import polars as pl

    from backbench.comparison.stale_figures import Stale
    from backbench.storage.database import Database

READINGS = """
SELECT reading.* EXCLUDE (reading_key, review_key, estimation, dof),
       coalesce(metric.title, reading.metric) AS title, metric.unit
FROM reading LEFT JOIN metric USING (metric)
WHERE review_key = $review AND ($metric = '' OR reading.metric = $metric)
ORDER BY unit_key = '', status = 'not_applicable', unit_key, title, order_n,
         frequency_hz, load_ohm, power_w, generator_vrms, output
"""


def reading_list(
    store: Database, review: str, metric: str | None, stale: Stale, *, in_words: bool
) -> LightRows | pl.DataFrame:
    """A row a reading. in_words: value and conditions as text. Raises UserError for a metric.

    stale: figures that are out of date, which say so.
    """
    key = "" if metric is None else metric_key(metric)
    if key is None:
        fault = unknown_metric("--metric", metric or "")
        raise UserError("the metric is not known", [fault])
    chosen = {"review": review, "metric": key}
    if in_words:
        return _in_words(store.records(READINGS, chosen), review, stale)
    import polars as pl

    frame = store.frame(READINGS, chosen)
    marks = [stale.has(review, analysis) for analysis in frame["analysis_key"]]
    return frame.drop("analysis_key").with_columns(pl.Series("out_of_date", marks, pl.Boolean))


def _in_words(rows: Sequence[dict[str, Any]], review: str, stale: Stale) -> LightRows:
    return LightRows(
        {"figure": "other", "value": "other", "conditions": "other", "remark": "other"},
        [
            (_figure(row), _value(row), _conditions(row),
             _remark(row, stale.has(review, row["analysis_key"])))
            for row in rows
        ],
    )  # fmt: skip


def _figure(row: dict[str, Any]) -> str:
    order = "" if row["order_n"] is None else f" {row['order_n']}"
    limit = "" if row["limit_percent"] is None else f" at {in_text(row['limit_percent'], '%', 6)}"
    return f"{row['title']}{order}{limit}, {row['output']}"


def _value(row: dict[str, Any]) -> str:
    if row["value"] is None:
        return "refused" if row["status"] == "rejected" else "doesn't apply"
    return ordinary(measured(row["value"], row["uncertainty"], row["unit"] or "", row["bound"]))


def _remark(row: dict[str, Any], is_stale: bool) -> str:
    """The reading's own remark, and that it is out of date where it has a value that is."""
    stale = f"out of date: {MARK}" if is_stale and row["value"] is not None else ""
    bare = row["status"] == "entered" and row["uncertainty"] is None
    unknown = "no uncertainty stated" if bare and row["bound"] is None else ""
    return "; ".join(filter(None, (stale, row["reason"], unknown)))


def _conditions(row: dict[str, Any]) -> str:
    """What tells the readings of one figure apart: "1 kHz, 5 W, 8 ohm"."""
    parts = [
        "loop-back" if row["unit_key"] == "" else "",
        _condition(row["frequency_hz"], "Hz"), _condition(row["power_w"], "W"),
        "no load" if row["load_kind"] == "open" else _condition(row["load_ohm"], "ohm"),
        f"{row['driven']} driven" if row["driven"] else "",
    ]  # fmt: skip
    return ", ".join(part for part in parts if part)


def _condition(value: float | None, unit: str) -> str:
    return "" if value is None else in_text(value, unit)
