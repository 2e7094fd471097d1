"""The standard uncertainty of a column's values: printed digits, and the instrument's own."""

from __future__ import annotations

import math

import numpy as np
import polars as pl

from backbench.documents.table_column import TableColumn
from backbench.quantities.numerals import DecimalSign
from backbench.signal.track import Array

EXACT_DIGITS = 12
"""Significant digits from which a value counts as unrounded."""
LEAST_ALIKE, FINE_SHARE = 10, 0.1
"""Cells of one decade that tell how finely its values were written, and the share that must be so:
a digit is 0 in one of ten."""
RECTANGULAR = math.sqrt(3)
"""A limit over the standard deviation of what lies evenly within it (GUM 4.3.7)."""
OWN_LIMITS = {"percent_of_reading", "percent_of_range", "last_digits", "decibels"}
"""What a manifest states of the error of a column."""
DB_PER_RELATIVE = 20 / math.log(10)


def column_uncertainty(
    text: pl.Series, numbers: Array, column: TableColumn, decimal: DecimalSign
) -> Array:
    """Standard uncertainty of each value, in the declared unit, its factor included.

    text: the cells as written. numbers: their values before factor and offset. The limits of an
    instrument (percent of the reading and of the range, last digits, dB) count as rectangular.
    """
    digit = _with_dropped_zeros(_last_digit(text, decimal), numbers)
    squares = np.square(digit / math.sqrt(12))
    for limit in (
        np.abs(numbers) * (column.percent_of_reading or 0.0) / 100,
        (column.range or 0.0) * (column.percent_of_range or 0.0) / 100,
        digit * (column.last_digits or 0.0),
        _of_decibels(numbers, column),
    ):
        squares = squares + np.square(limit / RECTANGULAR)
    factor = 1.0 if column.factor is None else abs(column.factor)
    return np.asarray(np.sqrt(squares) * factor)


def with_spread(uncertainty: Array, spread: Array | None, column: TableColumn) -> Array:
    """The same with what the cells state behind ±, where the column states no limit of its own.

    spread: in the declared unit, 0 where a cell states none; None for a column without any. What
    it is (a standard uncertainty, a limit, an expanded uncertainty) isn't said: it counts as a
    standard uncertainty, the widest of the three.
    """
    if spread is None or column.model_fields_set & OWN_LIMITS:
        return uncertainty
    factor = 1.0 if column.factor is None else abs(column.factor)
    return np.asarray(np.hypot(uncertainty, spread * factor))


def _with_dropped_zeros(place: Array, numbers: Array) -> Array:
    """Place values where zeros at the end of a value may not have been written: "2" for 2.000.

    No cell counts as coarser than a tenth of those of its decade are fine.
    """
    size = np.abs(np.where(np.isfinite(numbers), numbers, 0.0))
    decade = np.where(size > 0, np.floor(np.log10(np.where(size > 0, size, 1.0))), -999)
    finer = place.copy()
    for one in np.unique(decade):
        alike = decade == one
        if alike.sum() >= LEAST_ALIKE:
            usual = np.quantile(place[alike], FINE_SHARE, method="lower")
            finer[alike] = np.minimum(place[alike], usual)
    return finer


def _of_decibels(numbers: Array, column: TableColumn) -> Array | float:
    limit = column.decibels or 0.0
    return limit if column.unit.startswith("dB") else np.abs(numbers) * limit / DB_PER_RELATIVE


def _last_digit(text: pl.Series, decimal: DecimalSign) -> Array:
    """Place value of each cell's last digit; 0 for a value that wasn't rounded."""
    sign = "\\." if decimal == "." else ","
    pattern = (
        rf"^[-+−]?(?P<whole>[0-9]*)(?:{sign}(?P<fraction>[0-9]*))?(?:[eEdD](?P<power>[-+]?[0-9]+))?"
    )
    parts = text.str.extract_groups(pattern).struct.unnest()
    fraction = parts["fraction"].fill_null("").str.len_chars().to_numpy().astype(np.int64)
    whole = parts["whole"].fill_null("").str.strip_chars_start("0")
    digits = whole.str.len_chars().to_numpy().astype(np.int64) + fraction
    power = parts["power"].cast(pl.Int64, strict=False).fill_null(0).to_numpy()
    place = 10.0 ** np.clip(power - fraction, -100, 100)
    return np.asarray(np.where(digits >= EXACT_DIGITS, 0.0, place))
