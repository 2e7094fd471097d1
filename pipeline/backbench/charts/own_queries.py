"""Queries of one's own, with what their chart asks of them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from backbench.errors import Fault, did_you_mean
from backbench.querying import saved_queries

if TYPE_CHECKING:
    from backbench.querying.saved_queries import SavedQuery


def available(folder: Path) -> dict[str, SavedQuery]:
    """Every query that can be used in a catalogue, by name."""
    return saved_queries.available(folder, chart_faults)


def faulty(folder: Path) -> dict[str, tuple[Fault, ...]]:
    """The queries of a catalogue's folder that can't be used, each with everything wrong."""
    return saved_queries.faulty(folder, chart_faults)


def chart_faults(query: SavedQuery) -> list[Fault]:
    """What is wrong with the chart that a query's header names, and with its options."""
    if query.chart is None:
        return []
    from backbench.charts.registry import charts

    where = f"{query.file}, chart"
    chart = charts().get(query.chart)
    if chart is None:
        remedy = did_you_mean(query.chart, charts(), "take the line out for a table only")
        return [Fault(where, repr(query.chart), f"one of {', '.join(charts())}", remedy)]
    lacking = [name for name in chart.columns if name not in {c.name for c in query.columns}]
    return [
        *(Fault(where, f"no column {name}", f"the columns of {chart.name}: "
                f"{', '.join(chart.columns)}", "add it to the SELECT and to the header")
          for name in lacking),
        *chart.option_faults(query.chart_options, where),
    ]  # fmt: skip
