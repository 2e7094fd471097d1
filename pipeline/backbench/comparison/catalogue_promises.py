"""Every specification of the catalogue held against what was measured."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import polars as pl

from backbench.comparison.verdicts import NEARER_ZERO, Verdict, verdicts_of
from backbench.errors import UserError
from backbench.quantities.writing import COVERAGE
from backbench.querying.saved_queries import not_found
from backbench.storage.database import Database

UNITS = """
SELECT unit_key, review_key, label, technology FROM peer ORDER BY unit_key
"""
SCHEMA = {
    "unit_key": pl.String, "label": pl.String, "technology": pl.String, "metric": pl.String,
    "title": pl.String, "specified": pl.String, "at": pl.String, "outcome": pl.String,
    "margin_db": pl.Float64, "value": pl.Float64, "uncertainty": pl.Float64, "unit": pl.String,
    "bound": pl.String, "output": pl.String, "printed_in": pl.String, "explanation": pl.String,
    "margin_low_db": pl.Float64, "margin_high_db": pl.Float64, "margin_bound": pl.String,
}  # fmt: skip


def catalogue_promises(store: Database, unit_key: str = "") -> pl.DataFrame:
    """A row a unit and specification, from the review that heads the unit, in order of unit.

    margin_db: by how much the measured figure is better than specified, negative where it is
    worse; none where it wasn't held against it. Its limits are those of k = 2; of a bound, only
    the one on its closed side. unit_key: a unit that has to be there. Raises UserError where it
    isn't.
    """
    units = list(store.frame(UNITS).iter_rows(named=True))
    keys = [row["unit_key"] for row in units]
    if unit_key and unit_key not in keys:
        raise UserError("no such unit", [not_found("unit", unit_key, keys, "unit")])
    judged = verdicts_of(store, {row["unit_key"]: row["review_key"] for row in units})
    rows = [_row(unit, verdict) for unit in units for verdict in judged[unit["unit_key"]]]
    return pl.DataFrame(rows, schema=SCHEMA)


def _row(unit: Mapping[str, Any], v: Verdict) -> Mapping[str, Any]:
    return {
        **{name: unit[name] for name in ("unit_key", "label", "technology")},
        **{name: getattr(v, name) for name in (
            "metric", "title", "printed_in", "unit", "value", "uncertainty", "bound", "output",
            "outcome", "explanation",
        )},
        "specified": v.printed, "at": v.promised_at, **_margins(v),
    }  # fmt: skip


def _margins(v: Verdict) -> Mapping[str, Any]:
    if not v.decided or v.value is None:
        return dict.fromkeys(("margin_db", "margin_low_db", "margin_high_db", "margin_bound"))
    reach = None if v.uncertainty is None else COVERAGE * v.uncertainty
    size = abs(v.value) if v.better == NEARER_ZERO else v.value
    ends = [None, None] if reach is None else [_margin(v, size - reach), _margin(v, size + reach)]
    low, high = ends if v.side == "at least" else ends[::-1]
    sides = {"upper": "lower", "lower": "upper"} if v.side == "at most" else {}
    bound = sides.get(v.bound or "", v.bound)
    return {
        "margin_db": _margin(v, size), "margin_bound": bound,
        "margin_low_db": None if bound == "upper" else low,
        "margin_high_db": None if bound == "lower" else high,
    }  # fmt: skip


def _margin(v: Verdict, size: float) -> float | None:
    """How much better than the limit; a ratio in dB, of powers by 10 lg, of others by 20 lg."""
    limit = abs(v.limit) if v.better == NEARER_ZERO else v.limit
    if "dB" in v.unit:
        more = size - limit
    elif size > 0 and limit > 0:
        more = (10 if v.unit == "W" else 20) * math.log10(size / limit)
    else:
        return None
    return more if v.side == "at least" else -more
