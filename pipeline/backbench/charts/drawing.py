"""What one drawing works from: its rows, words, size and choices."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import polars as pl


class ColumnLabel(Protocol):
    """What a saved query's header says about one of its columns."""

    @property
    def name(self) -> str:
        """The column's name in the frame."""

    @property
    def unit(self) -> str:
        """Its unit's symbol, "" where it has none."""

    @property
    def title(self) -> str:
        """What a reader calls it."""


@dataclass(frozen=True)
class PlainColumn:
    """A plain ColumnLabel."""

    name: str
    unit: str = ""
    title: str = ""


class Labels:
    """Words for one picture: its heading, the question and the conditions under it, the columns.

    missing: why the unit in question has no value, where it has none.
    """

    def __init__(
        self,
        columns: Iterable[ColumnLabel] = (),
        title: str = "",
        note: str = "",
        *,
        question: str = "",
        missing: str = "",
    ) -> None:
        self._columns = {column.name: column for column in columns}
        self.title = title
        self.note = note
        self.question = question
        self.missing = missing

    def headed(self, title: str) -> Labels:
        """The same under another heading."""
        return Labels(
            self._columns.values(), title, self.note, question=self.question, missing=self.missing
        )

    def noted(self, note: str) -> Labels:
        """The same with another condition after those that stand."""
        return Labels(
            self._columns.values(), self.title, "; ".join(filter(None, (self.note, note))),
            question=self.question, missing=self.missing,
        )  # fmt: skip

    def title_of(self, name: str) -> str:
        """The column's title; its name in words where the header gives none."""
        column = self._columns.get(name)
        return (column.title if column else "") or name.replace("_", " ")

    def unit_of(self, name: str, otherwise: str = "") -> str:
        """The column's unit."""
        column = self._columns.get(name)
        return (column.unit if column else "") or otherwise


@dataclass(frozen=True)
class Size:
    """Width and height of the whole picture in layout pixels.

    A height of 0 leaves it to the chart.
    """

    width: int = 960
    height: int = 540


PAGE = Size()
PHONE = Size(340, 0)
"""What a picture is drawn for that is shown on a phone, the width of a page there."""


@dataclass(frozen=True)
class ChartInput:
    """Everything that one drawing works from. The frame has rows and the declared columns."""

    frame: pl.DataFrame
    labels: Labels
    subject: str
    size: Size
    options: Mapping[str, str]

    def rows_of_unit(self, drawable: Callable[[dict[str, Any]], bool]) -> list[dict[str, Any]]:
        """The drawable rows of the one unit that is drawn: of the subject, or else of the first."""
        rows = [row for row in self.frame.to_dicts() if drawable(row)]
        key = self.subject or (rows[0]["unit_key"] if rows else "")
        return [row for row in rows if row["unit_key"] == key]


SQUARE, HALF_UPRIGHT = Size(600, 600), Size(600, 540)
"""What pictures of stills are drawn for that are square, and for two over each other: so wide that
their text is large enough at half of 1080 pixels."""
PRINT = Size(690, 486)
"""What a picture is drawn for that takes the whole width of a printed sheet."""
