"""The uncertainty of the values of a table."""

from __future__ import annotations

import math

import numpy as np

from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.metrics.declaration import CaptureData
from backbench.quantities.units import factor
from backbench.signal.response import resolution
from backbench.signal.track import Array
from backbench.signal.uncertainty import DB_PER_RELATIVE

RECTANGULAR = math.sqrt(3)
UNDECLARED = "the instrument's own error was not declared and is not in the uncertainty"


def column_u(capture_data: CaptureData, key: str) -> Array:
    """Standard uncertainty of a column, shape (n,), in its unit.

    As the reader found it; for a table that no reader made, that of the last decimal.
    """
    assert capture_data.table is not None
    if key in capture_data.table_uncertainty:
        return capture_data.table_uncertainty[key]
    values = capture_data.table[key]
    return np.full(len(values), resolution(values))


def declared_column(capture_data: CaptureData, key: str) -> TableColumn | None:
    """A column of a table as the manifest declares it; None where it doesn't."""
    assert isinstance(capture_data.stimulus, Table)
    return capture_data.stimulus.columns.get(key)


def scale_u(capture_data: CaptureData, key: str) -> float:
    """Relative standard uncertainty of a column's scale: percent of the reading, and dB."""
    column = declared_column(capture_data, key)
    if column is None:
        return 0.0
    reading = (column.percent_of_reading or 0.0) / 100
    decibels = (column.decibels or 0.0) / DB_PER_RELATIVE
    return math.hypot(reading, decibels) / RECTANGULAR


def limits_u(capture_data: CaptureData, key: str) -> float:
    """Standard uncertainty that the instrument's limits leave every value of a column of volts, V.

    Those are shares of its range and of its last digits; both may shift all values alike.
    """
    column = declared_column(capture_data, key)
    if column is None:
        return 0.0
    return math.hypot(_range_u(column), digits_u(capture_data, key))


def _range_u(column: TableColumn) -> float:
    if column.range is None:
        return 0.0
    limit = column.range * (column.percent_of_range or 0.0) / 100 * (column.factor or 1.0)
    return abs(limit) * (factor(column.unit, "V") or 1.0) / RECTANGULAR


def digits_u(capture_data: CaptureData, key: str) -> float:
    """Standard uncertainty that the instrument's limit in last digits leaves a column of volts, V.

    Their rounding is left out: it is in the scatter of the values.
    """
    column = declared_column(capture_data, key)
    if column is None or not column.last_digits:
        return 0.0
    assert capture_data.table is not None
    values = capture_data.table[key] - (column.offset or 0.0) * (factor(column.unit, "V") or 1.0)
    known = np.square(scale_u(capture_data, key) * values) + _range_u(column) ** 2
    if key in capture_data.table_uncertainty:
        digits = max(float(np.max(np.square(column_u(capture_data, key)) - known)), 0.0)
        share = column.last_digits**2 / 3
        return math.sqrt(digits * share / (share + 1 / 12))
    return resolution(capture_data.table[key]) * math.sqrt(12) * column.last_digits / RECTANGULAR


def limits_declared(capture_data: CaptureData, key: str) -> bool:
    """Whether a column's limits of error were declared."""
    column = declared_column(capture_data, key)
    return column is not None and any(
        limit is not None
        for limit in (
            column.percent_of_reading,
            column.percent_of_range,
            column.last_digits,
            column.decibels,
        )
    )
