"""The rows of a result as light as a table in the terminal needs them.

Loading the library of frames takes longer than most questions: what only is shown does without.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    import polars as pl

Kind = Literal["number", "day or time", "other"]
FEW, LONG = 2000, 250_000
"""Rows, and characters of a text, up to which a result is light."""
PLAIN: Mapping[str, Kind] = {
    **dict.fromkeys(("tinyint", "smallint", "integer", "bigint", "double"), "number"),
    "date": "day or time", "varchar": "other", "boolean": "other",
}  # fmt: skip
"""The database's types whose values are the same in Python and in a frame."""
ALTERED = {"uhugeint", "bit", "bignum", "variant", "geometry", "time with time zone"}
"""Those whose values come into a frame as other numbers, as bytes of no meaning, or in part."""


@dataclass(frozen=True)
class LightRows:
    """A result in memory: the kind of each column by name, in order, and the rows."""

    kinds: Mapping[str, Kind]
    rows: Sequence[tuple[Any, ...]]

    @property
    def columns(self) -> list[str]:
        return list(self.kinds)

    @property
    def height(self) -> int:
        return len(self.rows)

    def values(self, column: str) -> list[Any]:
        """A column from the first row to the last. Raises ValueError for one that isn't there."""
        place = self.columns.index(column)
        return [row[place] for row in self.rows]

    def first(self, number: int) -> LightRows:
        """The first rows."""
        return LightRows(self.kinds, self.rows[:number])

    @staticmethod
    def of(result: LightRows | pl.DataFrame) -> LightRows:
        """A result as light rows."""
        if isinstance(result, LightRows):
            return result
        kinds = {name: _kind(dtype) for name, dtype in result.schema.items()}
        columns = [result[name].to_list() for name in result.columns]
        return LightRows(kinds, list(zip(*columns, strict=True)))


def _kind(dtype: pl.DataType) -> Kind:
    if dtype.is_numeric():
        return "number"
    return "day or time" if dtype.is_temporal() else "other"


def as_light(rows: Any) -> LightRows | None:
    """Rows of the database that are there; None where they are many, long, or not of PLAIN types.

    A day beyond those of Python comes as its first or last one, and isn't light either.
    """
    ids, names = [kind.id for kind in rows.types], rows.columns
    if not {*ids} <= PLAIN.keys() or len({*names}) < len(names) or len(rows) > FEW:
        return None
    fetched = rows.fetchall()
    if not all(_is_light(value) for row in fetched for value in row):
        return None
    return LightRows(dict(zip(names, (PLAIN[kind] for kind in ids), strict=True)), fetched)


def _is_light(value: object) -> bool:
    if isinstance(value, str):
        return len(value) <= LONG
    return value not in (dt.date.min, dt.date.max)


def is_altered(kind: Any) -> bool:
    """Whether a type of the database, or one within it, is of ALTERED."""
    within = kind.children if kind.id in {"list", "array", "struct", "map", "union"} else []
    types = [one for _, one in within if hasattr(one, "id")]
    return kind.id in ALTERED or any(map(is_altered, types))
