"""Readings at the power that a published figure promises: exact, or between steps of a sweep.

A reading at a power nearby is never taken as one at the promised power. Where steps of the same
output under the same conditions lie on both sides, the value is interpolated along their curve
(`test_points.interpolate`); where they don't reach, there is none.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from backbench.test_points.interpolate import EXACT, REMARK, interpolated

STEEPEST = 10.0
"""Relative change of a value over relative change of power, at most: near clipping (common
practice, no source)."""
DECIBELS = 20 / math.log(10)
SAME = (
    "output",
    "metric",
    "frequency_hz",
    "load_ohm",
    "input",
    "tap",
    "volume",
    "driven",
    "detail",
)

Row = Mapping[str, Any]


def at_power(rows: Sequence[Row], power_w: float) -> list[Row]:
    """The rows that hold at a power in W: taken there, or one interpolated for each curve.

    rows: readings of one metric with a value, in its unit, with power_u (relative). Interpolated
    ones have the power asked for, no key, and say between which steps in `reason`.
    """
    values: list[Row] = []
    for curve in _curves(rows):
        exact = [row for row in curve if row["power_w"] and _offset(row, power_w) <= EXACT]
        if exact:
            nearest = min(exact, key=lambda row: (_offset(row, power_w), row["reading_key"]))
            values.append(_widened(nearest, power_w))
        else:
            values += _between_steps(curve, power_w)
    return values


def _curves(rows: Iterable[Row]) -> Iterator[list[Row]]:
    curves: dict[tuple[Any, ...], list[Row]] = {}
    for row in rows:
        curves.setdefault(tuple(row[name] for name in SAME), []).append(row)
    yield from curves.values()


def _offset(row: Row, power_w: float) -> float:
    return abs(math.log(row["power_w"] / power_w)) if row["power_w"] > 0 else math.inf


def _widened(row: Row, power_w: float) -> Row:
    """With what the offset from the power can change in its uncertainty."""
    if row["uncertainty"] is None:
        return row
    scale = DECIBELS if row["unit"] == "dB" else abs(row["value"])
    change = STEEPEST * _offset(row, power_w) * scale / math.sqrt(3)
    return {**row, "uncertainty": math.hypot(row["uncertainty"], change)}


def _between_steps(curve: Sequence[Row], power_w: float) -> Iterator[Row]:
    steps = [
        dict(row)
        for row in curve
        if row["power_w"] and row["uncertainty"] is not None and row["estimation"] is not None
        and not str(row["reason"] or "").startswith(REMARK)
    ]  # fmt: skip
    between = interpolated(steps, power_w)
    if between is not None:
        yield {**between.below, **between.reading_columns(), "power_w": power_w, "reading_key": ""}
