"""The cells of a column as numbers in its declared unit."""

from __future__ import annotations

import math
import re

import numpy as np
import polars as pl

from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.numerals import DecimalSign
from backbench.quantities.reading import read_quantity
from backbench.quantities.units import scaled, spelled_unit
from backbench.readers.table_cells import number_of
from backbench.signal.track import Array

ORDER = re.compile(r"[HhKk] ?([0-9]{1,3})|([0-9]{1,3})(?:st|nd|rd|th|\.)")
"""A harmonic as it is often named."""


def numbers_of(text: pl.Series, unit: str, decimal: DecimalSign) -> Array:
    """Cells as numbers in the declared unit; NaN where one is none."""
    plain = text
    if decimal == ",":
        # A point in such a table groups thousands: "1.000" is not 1.
        grouped = text.str.contains(".", literal=True).fill_null(value=False)
        plain = text.str.replace(",", ".", literal=True).set(grouped, None)
    numbers = plain.cast(pl.Float64, strict=False).to_numpy().astype(np.float64)
    if np.isnan(numbers).any():
        plain = plain.str.replace_all("−", "-", literal=True).str.replace("(?i)d", "e")
        numbers = plain.cast(pl.Float64, strict=False).to_numpy().astype(np.float64)
    for row in np.flatnonzero(np.isnan(numbers)).tolist():
        numbers[row] = _with_unit(text[row], unit, decimal)
    return numbers


def _with_unit(text: str | None, unit: str, decimal: DecimalSign) -> float:
    """A number with its unit or prefix beside it, in the declared unit; NaN where it is none."""
    if text and unit == "1":
        order = ORDER.fullmatch(text)
        return float(order[1] or order[2]) if order else math.nan
    named = spelled_unit(unit)
    if not text or named is None:
        return math.nan
    bare = number_of(text, decimal)
    if bare is not None and not bare[1]:
        return bare[0] if named[1] == 0 or text[-1].isdigit() else math.nan
    try:
        value = read_quantity(text, named[0], decimal=decimal)
    except UnreadableQuantity:
        return math.nan
    return math.nan if value.bound else value.value / scaled(1.0, named[1])
