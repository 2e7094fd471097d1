"""Values of many units of which some are bounds: medians that hold, and whose values are bounds."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from statistics import median
from typing import Any

import polars as pl

from backbench.quantities.counts import counted
from backbench.quantities.sentences import listed
from backbench.quantities.writing import MOST_DIGITS, quantity

Row = Mapping[str, Any]
MOST_NAMED = 3


def median_between(rows: Sequence[Row]) -> tuple[float, float]:
    """The least and the greatest that the median of `value` can be, whatever the bounds hide.

    rows: value and bound ("upper", "lower" or none); infinite where nothing limits the median.
    """
    values = [(float(row["value"]), row.get("bound")) for row in rows]
    return (
        median(-math.inf if bound == "upper" else value for value, bound in values),
        median(math.inf if bound == "lower" else value for value, bound in values),
    )


def known_median(rows: Sequence[Row]) -> float | None:
    """The median whatever the true values of the bounds are; None where it depends on them."""
    low, high = median_between(rows)
    return low if low == high else None


def median_text(rows: Sequence[Row], unit: str) -> str:
    """The median, or what it is at least or at most; "" where bounds leave it open."""
    low, high = median_between(rows)
    if math.isfinite(low):
        text = quantity(low, unit, MOST_DIGITS)
        return text if low == high else f"at least {text}"
    return f"at most {quantity(high, unit, MOST_DIGITS)}" if math.isfinite(high) else ""


def limited_units(frame: pl.DataFrame) -> str:
    """How many of several units have a bound among what is drawn of them, and which.

    "" of one unit, of none with a bound, of several metrics, and of rows that don't say.
    """
    if not {"unit_key", "label", "bound"} <= set(frame.columns):
        return ""
    if "metric" in frame.columns and frame["metric"].n_unique() > 1:
        return ""
    units = frame["unit_key"].n_unique()
    of_bounds = frame.filter(pl.col("bound").is_not_null() & (pl.col("bound") != ""))
    names = [str(name) for name in of_bounds["label"].unique(maintain_order=True)]
    if units < 2 or not names:
        return ""
    more = len(names) - MOST_NAMED
    some = names[:MOST_NAMED] + [f"{more} more"] * (more > 0)
    whose = f"{len(names)} of {counted(units, 'unit')} ({listed(some)})"
    return f"beyond what bench or record can see: {whose}"
