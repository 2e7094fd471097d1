"""Queries of one's own, with what their chart asks of them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from backbench.errors import Fault, UserError, did_you_mean, unknown_key
from backbench.querying import saved_queries

if TYPE_CHECKING:
    from backbench.querying.saved_queries import SavedQuery


def available(folder: Path) -> dict[str, SavedQuery]:
    """Every query that can be used in a catalogue, by name."""
    return saved_queries.available(folder, chart_faults)


def one(folder: Path, name: str) -> SavedQuery:
    """One of them. Raises UserError for a name that none has, and with the faults of a faulty one.

    One that comes with the program is read alone: no other can have its name.
    """
    if name in saved_queries.shipped_names():
        return saved_queries.one_shipped(name)
    known = available(folder)
    wrong = {} if name in known else faulty(folder)
    if name in wrong:
        raise UserError(f"the query {name} can't be used", wrong[name])
    if name not in known:
        fault = unknown_key("query", name, known, "see `backbench queries`")
        raise UserError("the query is not known", [fault])
    return known[name]


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
