"""Values of a table with their uncertainty, one by one, in volts, watts and percent."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from backbench.metrics.declaration import CaptureData, MeasuredValue
from backbench.metrics.table_uncertainty import (
    UNDECLARED,
    column_u,
    declared_column,
    limits_declared,
)
from backbench.quantities.reading import DBU_V
from backbench.signal.track import Array
from backbench.signal.uncertainty import DB_PER_RELATIVE, ONE_SIDED

ABSOLUTE_DB = {"dBV": 0.0, "dBu": 20 * math.log10(DBU_V)}
"""Units of level, in dB re 1 V."""
COVERAGE = 2.0


class Amount(NamedTuple):
    """A value of a table and its standard uncertainty, in one unit."""

    value: float
    u: float

    def figure(self, remark: str | None = None) -> MeasuredValue:
        """As a figure; an upper bound where its uncertainty is half of it or more."""
        if self.value < COVERAGE * self.u:
            most = max(self.value, 0.0) + ONE_SIDED * self.u
            return MeasuredValue(most, 0.0, bound="upper", remark=remark)
        return MeasuredValue(self.value, self.u, self.u, remark=remark)


def unit_of(capture_data: CaptureData, key: str) -> str:
    """The declared unit of a column; "" where the table has no such column."""
    column = declared_column(capture_data, key)
    return "" if column is None else column.unit


def linear(capture_data: CaptureData, key: str) -> tuple[Array, Array]:
    """A column as amounts with their uncertainty, shape (n,) each: volts, watts, percent.

    dBV and dBu become volts, dB becomes percent.
    """
    table, unit = capture_data.table, unit_of(capture_data, key)
    assert table is not None
    values, u = table[key], column_u(capture_data, key)
    if not unit.startswith("dB"):
        return values, u
    whole = 100.0 if unit == "dB" else 1.0
    amounts = whole * 10 ** ((values + ABSOLUTE_DB.get(unit, 0.0)) / 20)
    return amounts, amounts * u / DB_PER_RELATIVE


def values_of(capture_data: CaptureData, key: str) -> list[Amount] | None:
    """The same row by row; None where the table has no such column."""
    assert capture_data.table is not None
    if key not in capture_data.table:
        return None
    pairs = zip(*(part.tolist() for part in linear(capture_data, key)), strict=True)
    return [Amount(*pair) for pair in pairs]


def undeclared(capture_data: CaptureData, keys: Iterable[str]) -> str | None:
    """A remark where the instrument's own error of a column that is there wasn't declared."""
    held = [key for key in keys if declared_column(capture_data, key) is not None]
    limits = [limits_declared(capture_data, key) for key in held]
    return None if all(limits) else UNDECLARED


def rising(x: Array) -> Array:
    """Positions that put values in rising order, each value once."""
    return np.asarray(np.unique(x, return_index=True)[1])
