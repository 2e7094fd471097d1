"""The rows of a result as light as a table in the terminal needs them.

Loading the library of frames takes longer than most questions: what only is shown does without.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    import polars as pl

Kind = Literal["number", "day or time", "other"]


@dataclass(frozen=True)
class Answer:
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

    def first(self, number: int) -> Answer:
        """The first rows."""
        return Answer(self.kinds, self.rows[:number])

    @staticmethod
    def of(result: Answer | pl.DataFrame) -> Answer:
        """A result as an Answer."""
        if isinstance(result, Answer):
            return result
        kinds = {name: _kind(dtype) for name, dtype in result.schema.items()}
        columns = [result[name].to_list() for name in result.columns]
        return Answer(kinds, list(zip(*columns, strict=True)))


def _kind(dtype: pl.DataType) -> Kind:
    if dtype.is_numeric():
        return "number"
    return "day or time" if dtype.is_temporal() else "other"
