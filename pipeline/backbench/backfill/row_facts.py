"""The facts of a row: of its review and of its unit, as a manifest has them."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

from backbench.backfill import suggestions
from backbench.backfill.column_map import ColumnMap, Fact
from backbench.backfill.days import UnreadableDay, read_day
from backbench.backfill.decimal_signs import DecimalSigns
from backbench.backfill.problems import LeftOut, refuse_long
from backbench.backfill.spreadsheet import Cell
from backbench.documents.unit_facts import choices, key_of
from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.reading import read_quantity

UNIT_OF_NUMBER = {"mains_hz": "Hz", "rated_power_w": "W"}
OPTIONAL = {"key", "title", "notes", "serial", "topology", "made", "rated_power_w"}


def fact_of(name: str, cell: Cell | None, fact: Fact, how: ColumnMap, signs: DecimalSigns) -> Any:
    """A fact of a row; None for an optional one whose cell is empty. Raises LeftOut.

    cell: None where the fact is the same in every row.
    """
    if cell is None:
        return dt.date.fromisoformat(str(fact.always)) if name == "date" else fact.always
    refuse_long(cell.text)
    text = fact.words.get(cell.text, cell.text)
    if not text or text in how.empty:
        if name in OPTIONAL:
            return None
        raise LeftOut("nothing there, and it is needed", suggestions.for_missing(fact.column, name))
    return _read(name, text, cell, fact, how, signs)


def _read(name: str, text: str, cell: Cell, fact: Fact, how: ColumnMap, signs: DecimalSigns) -> Any:
    if name in UNIT_OF_NUMBER:
        return _number(name, text, cell, fact, signs)
    if name in choices():
        return _choice(name, text, fact)
    if name in {"key", "bench"}:
        return key_of(text)
    others = {"date": lambda: _day(cell, how), "made": lambda: years(text)}
    return others.get(name, lambda: " ".join(text.split()))()


def _day(cell: Cell, how: ColumnMap) -> dt.date:
    try:
        return read_day(cell.content, cell.text, how.dates)
    except UnreadableDay as error:
        raise LeftOut(str(error), error.proposal) from None


def _number(name: str, text: str, cell: Cell, fact: Fact, signs: DecimalSigns) -> float:
    unit = UNIT_OF_NUMBER[name]
    try:
        decimal = signs.of(fact.column, cell)
        return read_quantity(text, unit, usual_unit=unit, decimal=decimal).value
    except UnreadableQuantity as error:
        remedy = error.remedy or f"write a number with its unit, as 50 {unit}"
        raise LeftOut(f"{error.text!r} {error.reason}", remedy) from None


def _choice(name: str, text: str, fact: Fact) -> str:
    if text.lower() not in choices()[name]:
        reason = f"{text!r} is none of: {', '.join(choices()[name])}"
        raise LeftOut(reason, suggestions.for_choice(text, choices()[name], fact.words))
    return text.lower()


def years(text: str) -> int | list[int]:
    """1961, 1961.0, or 1959-63 and 1959-1963. Raises LeftOut."""
    found = re.fullmatch(r"(\d{4})(?:\.0)?(?:\s*[-–/]\s*(\d{2}|\d{4}))?", text)
    if not found:
        raise LeftOut(f"{text!r} is no year", suggestions.for_years(text))
    first = int(found[1])
    if found[2] is None:
        return first
    last = int(found[2]) if len(found[2]) == 4 else first // 100 * 100 + int(found[2])
    if last < first:
        raise LeftOut(f"{text!r} runs backwards", f"write {last}-{first} if that is meant")
    return [first, last]
