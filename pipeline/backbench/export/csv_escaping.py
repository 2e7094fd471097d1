"""Text cells as they may leave the house."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import polars as pl

FORMULA = r"^[=+\-@\t\r]"


def inert(frame: pl.DataFrame) -> pl.DataFrame:
    """A frame for CSV: text that a spreadsheet would run as a formula gets an apostrophe before it.

    Numbers stay as they are.
    """
    import polars as pl

    text = pl.col(pl.String)
    return frame.with_columns(
        pl.when(text.str.contains(FORMULA)).then(pl.lit("'") + text).otherwise(text).name.keep()
    )
