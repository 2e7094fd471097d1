"""Values that are written with their uncertainty: "0.9 ± 0.05"."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import polars as pl

from backbench.quantities.numerals import DecimalSign
from backbench.readers.column_numbers import numbers_of
from backbench.readers.compound_cells import SPREAD, value_and_spread
from backbench.signal.track import Array


class SpreadApart(NamedTuple):
    """The cells of a column as values alone, and what stands behind ±; None where nothing does."""

    values: pl.Series
    spreads: pl.Series


def spread_apart(text: pl.Series) -> SpreadApart | None:
    """Values and uncertainties of a column's cells; None for a column without any such cell."""
    rows = text.str.contains(SPREAD.pattern).fill_null(value=False)
    if not rows.any():
        return None
    values: list[str | None] = text.to_list()
    spreads: list[str | None] = [None] * len(text)
    for row in rows.arg_true().to_list():
        parted = value_and_spread(values[row] or "")
        if parted is not None:
            values[row], spreads[row] = parted
    return SpreadApart(pl.Series(values, dtype=pl.String), pl.Series(spreads, dtype=pl.String))


def stated_spread(spreads: pl.Series, unit: str, decimal: DecimalSign) -> Array:
    """What stands behind ±, in the declared unit: 0 where nothing does, NaN for what is no number.

    Of decibels it is in dB, whatever they are relative to; a ratio or a voltage isn't turned into
    decibels, which differences of decibels are not.
    """
    plain = spreads
    if unit.startswith("dB"):
        bare = spreads.str.replace(r"\s*dB[A-Za-z]?$", "")
        plain = bare.set(bare.str.contains(r"[^0-9.,eE+-]").fill_null(value=False), None)
    numbers = numbers_of(plain, unit, decimal)
    numbers[~((numbers >= 0) & np.isfinite(numbers))] = np.nan
    numbers[spreads.is_null().to_numpy()] = 0.0
    return numbers
