"""Rows of the staged tables, and the keys that identify them."""

from __future__ import annotations

import hashlib
import json
import math
from typing import Any

import polars as pl

from backbench.metrics.declaration import MeasuredValue

READING = pl.Schema(
    {
        "reading_key": pl.String, "review_key": pl.String, "analysis_key": pl.String,
        "unit_key": pl.String, "output": pl.String, "against": pl.String,
        "metric": pl.String, "method_version": pl.Int32, "stimulus": pl.String,
        "frequency_hz": pl.Float64, "power_w": pl.Float64, "load_ohm": pl.Float64,
        "load_kind": pl.String, "generator_vrms": pl.Float64, "input": pl.String,
        "tap": pl.String, "volume": pl.String, "driven": pl.String, "order_n": pl.Int32,
        "limit_percent": pl.Float64, "detail": pl.String, "value": pl.Float64,
        "uncertainty": pl.Float64, "estimation": pl.Float64, "dof": pl.Float64,
        "bound": pl.String, "status": pl.String, "reason": pl.String,
    }
)  # fmt: skip

NUMBERS = pl.List(pl.Float64)
_CURVE: dict[str, type[pl.DataType] | pl.DataType] = {
    "review_key": pl.String, "analysis_key": pl.String, "unit_key": pl.String,
    "output": pl.String, "curve": pl.String, "method_version": pl.Int32,
    "frequency_hz": pl.Float64, "power_w": pl.Float64, "load_ohm": pl.Float64,
    "load_kind": pl.String, "x_unit": pl.String, "y_unit": pl.String,
    "x": NUMBERS, "y": NUMBERS, "uncertainty": NUMBERS,
}  # fmt: skip
CURVE = pl.Schema(_CURVE)

RESULT = pl.Schema(
    {"analysis_key": pl.String, "status": pl.String, "reason": pl.String, "seconds": pl.Float64}
)

Row = dict[str, Any]

DEFECT = "unexpected "
"""Beginning of the reason of a failure that is not the file's but this program's or machine's."""


_ENCODER = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def canonical(content: object) -> str:
    """JSON of one form only: sorted keys, no spaces."""
    return _ENCODER.encode(content)


def digest(*content: object) -> str:
    """Short key of any JSON-like content: 32 hexadecimal digits of its sha256."""
    return hashlib.sha256(canonical(content).encode()).hexdigest()[:32]


def figure_columns(figure: MeasuredValue | None) -> Row:
    """The value columns of a reading. Infinite degrees of freedom are stored as NULL."""
    if figure is None:
        return dict.fromkeys(("value", "uncertainty", "estimation", "dof", "bound"))
    numbers = (figure.value, figure.uncertainty, figure.estimation)
    if not all(math.isfinite(number) for number in numbers):
        raise ArithmeticError(f"a figure that is not finite: {figure}")
    return {
        "value": float(figure.value),
        "uncertainty": float(figure.uncertainty),
        "estimation": float(figure.estimation),
        "dof": float(figure.dof) if math.isfinite(figure.dof) else None,
        "bound": figure.bound,
    }


def frame(rows: list[Row], schema: pl.Schema) -> pl.DataFrame:
    """Rows as a frame of exactly these columns; what a row lacks is null."""
    return pl.DataFrame(
        [pl.Series(name, [row.get(name) for row in rows], kind) for name, kind in schema.items()]
    )
