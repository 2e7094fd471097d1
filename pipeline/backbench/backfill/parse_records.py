"""A sheet read under its map: reviews with entered readings, and everything that can't be read.

A row whose facts can't be read is left out as a whole; a figure that can't be read is left out
alone. Each is listed with its place and the reason.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, get_args

from backbench.backfill.column_map import ColumnMap, Fact, ReadingColumn, columns_of
from backbench.backfill.decimal_signs import DecimalSigns, decimal_signs
from backbench.backfill.spreadsheet import Cell, Row, Sheet
from backbench.documents.kinds import UNIT_KINDS
from backbench.documents.unit_facts import State, Technology
from backbench.errors import Fault, UserError
from backbench.metrics.registry import registry
from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.reading import Bound, read_quantity
from backbench.quantities.writing import exact

NUMBERS = {"mains_hz", "rated_power_w"}


@dataclass(frozen=True)
class Problem:
    """A cell, or a whole row, that was left out."""

    place: str
    found: str
    reason: str


@dataclass(frozen=True)
class ParsedCell:
    """A cell and what it was taken for."""

    column: str
    text: str
    value: str


@dataclass
class Record:
    """One review as the sheet has it: facts, units and figures, as the manifest has them."""

    key: str
    review: dict[str, Any]
    rows: list[int] = field(default_factory=list)
    units: dict[str, dict[str, Any]] = field(default_factory=dict)
    entered: list[dict[str, Any]] = field(default_factory=list)


@dataclass(frozen=True)
class SheetContents:
    """All that a sheet says."""

    records: dict[str, Record]
    problems: list[Problem]
    parsed: list[ParsedCell]


@dataclass(frozen=True)
class SheetSource:
    """A sheet with what is needed to read it."""

    sheet: Sheet
    how: ColumnMap
    signs: DecimalSigns

    def place(self, row: Row, cell: Cell | None = None) -> str:
        """Where a fault stands: the file, the cell or the row."""
        return f"{self.sheet.source}, {cell.address if cell else f'row {row.number}'}"


def parse_sheet(sheet: Sheet, how: ColumnMap) -> SheetContents:
    """Read every row. Raises UserError where the sheet lacks a column that the map names."""
    lacking = sorted(set(columns_of(how)) - set(sheet.headings))
    if lacking:
        faults = [
            Fault(f"{sheet.source}", f"no column {name!r}", "every column that the map names",
                  f"the spreadsheet's headings: {', '.join(sheet.headings)}")
            for name in lacking
        ]  # fmt: skip
        raise UserError("the column map doesn't match the spreadsheet", faults)
    contents = SheetContents({}, [], [])
    source = SheetSource(sheet, how, decimal_signs(sheet, how))
    for row in sheet.rows:
        _read_row(source, row, contents)
    return contents


def _read_row(source: SheetSource, row: Row, contents: SheetContents) -> None:
    problems: list[Problem] = []
    review = _facts(source, row, source.how.review, problems)
    unit = _facts(source, row, source.how.unit, problems)
    if problems:
        contents.problems.extend(problems)
        return
    unit_key = str(unit.pop("key", "") or plain(f"{unit['maker']} {unit['model']}"))
    key = str(review.pop("key", "") or plain(f"{review['date']:%Y-%m} {unit_key}"))
    unit["key"] = unit_key
    record = contents.records.get(key) or Record(key, review)
    clash = _clash(record, review, unit)
    if clash:
        contents.problems.append(Problem(source.place(row), key, clash))
        return
    contents.records[key] = record
    record.rows.append(row.number)
    record.units[unit_key] = unit
    for column in source.how.reading:
        _read_figure(source, row, column, record, unit_key, contents)


def _clash(record: Record, review: dict[str, Any], unit: dict[str, Any]) -> str | None:
    """Why a row can't belong to a review that other rows have started; None where it can."""
    if record.review != review:
        return f"another date or bench than row {record.rows[0]}, which has the same review key"
    known = record.units.get(unit["key"])
    if known is not None and known != unit:
        return f"other facts of unit {unit['key']!r} than in row {record.rows[-1]}"
    return None


# Facts ----------------------------------------------------------------------------------------


def _facts(
    source: SheetSource, row: Row, facts: Mapping[Any, Fact], problems: list[Problem]
) -> dict[str, Any]:
    facts_of_row: dict[str, Any] = {}
    for name, fact in facts.items():
        cell = row.cells.get(fact.column) if fact.column else None
        if fact.column and cell is None:
            cell = Cell(None, f"row {row.number}")
        try:
            value = _always(name, fact) if cell is None else _fact(name, cell, fact, source)
        except ValueError as error:
            assert cell is not None
            problems.append(Problem(source.place(row, cell), cell.text, f"{name}: {error}"))
            continue
        if value is not None:
            facts_of_row[name] = value
    return facts_of_row


def _always(name: str, fact: Fact) -> Any:
    return dt.date.fromisoformat(str(fact.always)) if name == "date" else fact.always


OPTIONAL = {"key", "title", "notes", "serial", "topology", "made", "rated_power_w"}
CHOICES = {
    "kind": tuple(UNIT_KINDS),
    "technology": get_args(Technology),
    "state": get_args(State),
}


def _fact(name: str, cell: Cell, fact: Fact, source: SheetSource) -> Any:
    """A fact from a cell; None for an optional one that is empty. Raises ValueError."""
    text = fact.words.get(cell.text, cell.text)
    if not text or text in source.how.empty:
        if name in OPTIONAL:
            return None
        raise ValueError("nothing there, and it is needed")
    if name == "date":
        return _date(cell, source.how)
    if name == "made":
        return _years(text)
    if name in NUMBERS:
        unit = "W" if name == "rated_power_w" else "Hz"
        decimal = source.signs.of(fact.column, cell)
        return read_quantity(text, unit, usual_unit=unit, decimal=decimal).value
    if name in CHOICES:
        return _choice(name, text)
    return plain(text) if name in {"key", "bench"} else " ".join(text.split())


def _choice(name: str, text: str) -> str:
    if text.lower() not in CHOICES[name]:
        raise ValueError(f"{text!r} is none of: {', '.join(CHOICES[name])}; see words in the map")
    return text.lower()


def _date(cell: Cell, how: ColumnMap) -> dt.date:
    if isinstance(cell.content, dt.date):
        return cell.content
    for form in ("%Y-%m-%d", *how.dates):
        try:
            return dt.datetime.strptime(cell.text, form).date()
        except ValueError:
            continue
    raise ValueError(f"{cell.text!r} is no day; say in the map how dates are written")


def _years(text: str) -> int | list[int]:
    """1961, 1961.0, or 1959-63 and 1959-1963."""
    years = re.fullmatch(r"(\d{4})(?:\.0)?(?:\s*[-–/]\s*(\d{2}|\d{4}))?", text)
    if not years:
        raise ValueError(f"{text!r} is no year")
    first = int(years[1])
    if years[2] is None:
        return first
    last = int(years[2]) if len(years[2]) == 4 else first // 100 * 100 + int(years[2])
    if last < first:
        raise ValueError(f"{text!r} runs backwards")
    return [first, last]


def plain(text: str) -> str:
    """A text as a key: small letters, digits, dots and dashes."""
    bare = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9._]+", "-", bare).strip("-._")[:80]


# Figures --------------------------------------------------------------------------------------


def _read_figure(
    source: SheetSource,
    row: Row,
    column: ReadingColumn,
    record: Record,
    unit_key: str,
    contents: SheetContents,
) -> None:
    cell = row.cells.get(column.column)
    if cell is None or not cell.text or cell.text in source.how.empty:
        return
    metric = registry().metrics[column.metric]
    try:
        _refuse_unknown_percent(cell, column.unit or metric.unit)
        written = read_quantity(
            cell.text, metric.unit, usual_unit=column.unit,
            decimal=source.signs.of(column.column, cell), load_ohm=column.at.load_ohm,
        )  # fmt: skip
    except UnreadableQuantity as error:
        contents.problems.append(Problem(source.place(row, cell), cell.text, str(error)))
        return
    value = -written.value if column.negate else written.value
    bound = _SWAPPED[written.bound] if column.negate else written.bound
    value_text = exact(value, metric.unit, bound)
    figure = {
        "metric": column.metric, "unit": unit_key, "output": column.output, "value": value_text,
        "at": column.at.model_dump(exclude_none=True) or None, "order": column.order,
        "uncertainty_percent": column.uncertainty_percent,
        "origin": f"{source.place(row, cell)}: {cell.text}"[:200],
    }  # fmt: skip
    if any(_same(figure, other) for other in record.entered):
        reason = "another row of this review has this figure already"
        contents.problems.append(Problem(source.place(row, cell), cell.text, reason))
        return
    record.entered.append(figure)
    contents.parsed.append(ParsedCell(column.column, cell.text, value_text))


def _refuse_unknown_percent(cell: Cell, unit: str) -> None:
    if cell.is_percent is None and cell.is_number and unit == "%":
        raise UnreadableQuantity(
            cell.text, "may be a percentage stored as a fraction: this kind of file doesn't tell",
            "save the workbook as .xlsx or .ods",
        )  # fmt: skip


_SWAPPED: dict[Bound | None, Bound | None] = {"upper": "lower", "lower": "upper", None: None}
"""Of a value whose sign is turned: less than -60 dB is more than 60 dB."""


def _same(one: dict[str, Any], other: dict[str, Any]) -> bool:
    names = ("metric", "unit", "output", "at", "order")
    return all(one[name] == other[name] for name in names)
