"""Rows below the headings that describe no unit: totals, footnotes, headings said again, titles.

Only a row without a maker and a model, or a day, is held to be one: a unit whose model is called
Total stays a unit.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from backbench.backfill.spreadsheet import Row

_TOTAL = re.compile(
    r"(?:grand\s+|sub)?(?:total|sum|average|avg|mean|median|min|max|minimum|maximum|count|"
    r"std\.?\s?dev|standard deviation|number)\b.*|[Σø∅⌀].*",
    re.IGNORECASE,
)
_MARK = re.compile(r"\s*(\*{1,3}|†|‡|§|[¹²³⁴⁵⁶⁷⁸⁹]|[0-9a-z]\)|\([0-9a-z]\)|\[[0-9a-z]\])\s*")
_MARK_BEHIND = re.compile(
    r"(?P<text>.*?)(?P<mark>\*{1,3}|†|‡|§|[¹²³⁴⁵⁶⁷⁸⁹]|\s[0-9a-z]\)|\[[0-9a-z]\])"
)


@dataclass(frozen=True)
class OtherRow:
    """A row that is no unit's. what: as "a total". text: what stands first in it."""

    number: int
    what: str
    text: str

    def __str__(self) -> str:
        return f"row {self.number} was taken for {self.what}: {self.text!r}"


def other_row(row: Row, headings: Sequence[str], naming: Sequence[str]) -> OtherRow | None:
    """What a row is, where it is no unit's; None for a unit's.

    naming: columns without which a row describes no unit: those of maker, model and day.
    """
    filled = [cell.text for cell in row.cells.values() if cell.text]
    if not filled:
        return None
    first = filled[0]
    if [cell.text for cell in row.cells.values()] == list(headings):
        return OtherRow(row.number, "the headings again", first)
    lacking = [name for name in naming if name in row.cells and not row.cells[name].text]
    if any(_TOTAL.fullmatch(text) for text in filled[:2]) and lacking:
        return OtherRow(row.number, "a total", first)
    if len(filled) == 1 and len(naming) > 1:
        what = "a footnote" if _MARK.match(first) or len(first.split()) > 3 else "a title"
        return OtherRow(row.number, what, first)
    return None


def footnotes(rows: Sequence[OtherRow]) -> dict[str, OtherRow]:
    """The footnotes by their marks."""
    found: dict[str, OtherRow] = {}
    for row in rows:
        if row.what == "a footnote" and (mark := _MARK.match(row.text)):
            found.setdefault(mark[1], row)
    return found


def marked(text: str, notes: dict[str, OtherRow]) -> tuple[str, OtherRow] | None:
    """A text without the mark of a footnote at its end, and the footnote; None without one."""
    match = _MARK_BEHIND.fullmatch(text)
    if match is None or not match["text"].strip():
        return None
    note = notes.get(match["mark"].strip())
    return None if note is None else (match["text"].strip(), note)
