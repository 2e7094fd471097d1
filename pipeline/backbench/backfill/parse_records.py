"""A sheet read under its map: reviews with entered readings, and everything that can't be read.

A row whose facts can't be read is left out as a whole; a figure that can't be read is left out
alone. Each is listed with its place, the reason and what to write instead.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from backbench.backfill.column_map import ColumnMap, Fact, ReadingColumn, columns_of
from backbench.backfill.compound_cells import UNIT_OF_CONDITION
from backbench.backfill.decimal_signs import DecimalSigns, decimal_signs
from backbench.backfill.other_rows import OtherRow, other_row
from backbench.backfill.problems import LeftOut, Problem
from backbench.backfill.row_facts import fact_of
from backbench.backfill.row_figures import CellsOfFigure, entered_figure, sign_of
from backbench.backfill.spreadsheet import Cell, Row, Sheet
from backbench.documents.unit_facts import key_of
from backbench.errors import Fault, UserError
from backbench.metrics.registry import registry
from backbench.quantities.days import in_words
from backbench.quantities.reading import read_value
from backbench.quantities.writing import in_text

NAMING = ("maker", "model")


@dataclass(frozen=True)
class ParsedCell:
    """A cell and what it was taken for."""

    column: str
    text: str
    value: str


@dataclass
class NamedUnit:
    """A unit that the sheet tells by maker, model and serial number, and the rows that do."""

    label: str
    key: str
    facts: dict[str, Any]
    rows: list[int] = field(default_factory=list)


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
    """All that a sheet says.

    days: how the days of the sheet were read. others: rows of no unit. units: those that the sheet
    gives no key, by label, with their facts.
    """

    records: dict[str, Record]
    problems: list[Problem]
    parsed: list[ParsedCell]
    days: list[ParsedCell]
    others: list[OtherRow]
    units: dict[str, NamedUnit] = field(default_factory=dict)


@dataclass(frozen=True)
class SheetSource:
    """A sheet with what is needed to read it. others: its rows of no unit, by number."""

    sheet: Sheet
    how: ColumnMap
    signs: DecimalSigns
    others: dict[int, OtherRow]

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
    source = _source(sheet, how)
    contents = SheetContents({}, [], [], [], list(source.others.values()))
    for row in sheet.rows:
        if row.number not in source.others:
            _read_row(source, row, contents)
    return contents


def _source(sheet: Sheet, how: ColumnMap) -> SheetSource:
    facts = [how.unit.get("maker"), how.unit.get("model"), how.review.get("date")]
    naming = [fact.column for fact in facts if fact is not None and fact.column]
    others = {
        row.number: other
        for row in sheet.rows
        if (other := other_row(row, sheet.headings, naming)) is not None
    }
    units = Sheet(sheet.source, sheet.headings, [r for r in sheet.rows if r.number not in others])
    return SheetSource(sheet, how, decimal_signs(units, how), others)


def _read_row(source: SheetSource, row: Row, contents: SheetContents) -> None:
    problems: list[Problem] = []
    review = _facts(source, row, source.how.review, problems)
    unit = _facts(source, row, source.how.unit, problems)
    if problems:
        contents.problems.extend(problems)
        return
    unit_key = str(unit.pop("key", "")) or _named_unit(unit, row, source.how, contents).key
    key = str(review.pop("key", "") or key_of(f"{review['date']:%Y-%m} {unit_key}"))
    unit["key"] = unit_key
    record = contents.records.get(key) or Record(key, review)
    clash = _clash(record, review, unit)
    if clash:
        suggestion = "correct one of the rows, or give each a review key of its own"
        contents.problems.append(Problem(source.place(row), key, clash, suggestion))
        return
    contents.records[key] = record
    record.rows.append(row.number)
    record.units[unit_key] = unit
    _note_day(source, row, review, contents)
    for column in source.how.reading:
        _read_figure(source, row, column, record, unit_key, contents)


def unit_label(unit: Mapping[str, Any]) -> str:
    """A unit as a map's `units` name it: maker, model, and serial number where there is one."""
    return " ".join(str(unit[name]) for name in (*NAMING, "serial") if unit.get(name))


def _named_unit(
    unit: dict[str, Any], row: Row, how: ColumnMap, contents: SheetContents
) -> NamedUnit:
    """A unit without a key in the sheet, under the key that the map decides, or its names make."""
    label = unit_label(unit)
    key = how.units.get(label) or key_of(label)
    named = contents.units.setdefault(label, NamedUnit(label, key, unit))
    named.rows.append(row.number)
    return named


def _note_day(
    source: SheetSource, row: Row, review: Mapping[str, Any], contents: SheetContents
) -> None:
    column = source.how.review["date"].column
    if column is not None and column in row.cells:
        day = ParsedCell(column, row.cells[column].text, in_words(review["date"]))
        contents.days.append(day)


def _clash(record: Record, review: dict[str, Any], unit: dict[str, Any]) -> str | None:
    """Why a row can't belong to a review that other rows have started; None where it can."""
    if record.review != review:
        return f"another date or bench than row {record.rows[0]}, which has the same review key"
    known = record.units.get(unit["key"])
    if known is not None and known != unit:
        return f"other facts of unit {unit['key']!r} than in row {record.rows[-1]}"
    return None


def _facts(
    source: SheetSource, row: Row, facts: Mapping[Any, Fact], problems: list[Problem]
) -> dict[str, Any]:
    facts_of_row: dict[str, Any] = {}
    for name, fact in facts.items():
        cell = row.cells.get(fact.column) if fact.column else None
        if fact.column and cell is None:
            cell = Cell(None, f"row {row.number}")
        try:
            value = fact_of(name, cell, fact, source.how, source.signs)
        except LeftOut as error:
            assert cell is not None
            place, reason = source.place(row, cell), f"{name}: {error}"
            problems.append(Problem(place, cell.text, reason, error.suggestion))
            continue
        if value is not None:
            facts_of_row[name] = value
    return facts_of_row


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
    place = source.place(row, cell)
    try:
        cells = _cells_of_figure(source, row, column, cell)
        figure = entered_figure(cells, column, contents.others)
    except LeftOut as error:
        contents.problems.append(Problem(place, cell.text, str(error), error.suggestion))
        return
    figure |= {"unit": unit_key, "origin": f"{place}: {cell.text}"[:200]}
    if any(_same(figure, other) for other in record.entered):
        reason = "another row of this review has this figure already"
        suggestion = "take one of the two out, or state what differs as a condition"
        contents.problems.append(Problem(place, cell.text, reason, suggestion))
        return
    record.entered.append(figure)
    contents.parsed.append(ParsedCell(column.column, cell.text, _as_read(figure, column)))


def _cells_of_figure(
    source: SheetSource, row: Row, column: ReadingColumn, cell: Cell
) -> CellsOfFigure:
    decimal = sign_of(source.signs, column.column, cell)
    other = column.uncertainty_column
    spread = row.cells.get(other) if other else None
    if other is None or spread is None or not spread.text or spread.text in source.how.empty:
        return CellsOfFigure(cell, decimal)
    return CellsOfFigure(cell, decimal, spread, sign_of(source.signs, other, spread))


def _as_read(figure: Mapping[str, Any], column: ReadingColumn) -> str:
    """A figure with its uncertainty and the conditions that stand in its own cell."""
    known = column.at.model_dump(exclude_none=True)
    own = {name: v for name, v in (figure["at"] or {}).items() if name not in known}
    parts = [in_text(value, UNIT_OF_CONDITION[name], 6) for name, value in own.items()]
    share = figure["uncertainty_percent"]
    value = _in_words(str(figure["value"]), str(figure["metric"]))
    text = f"{value} at {', '.join(parts)}" if parts else value
    return text if share is None else f"{text}, standard uncertainty {in_text(share, '%')}"


def _in_words(written: str, metric: str) -> str:
    """A value as a manifest has it, as a person reads it: 0.00042 V is 420 µV."""
    unit = registry().metrics[metric].unit
    sign = written[:2] if written[0] in "<>" else ""
    return sign + in_text(read_value(written.removeprefix(sign), unit, usual_unit=unit), unit, 6)


def _same(one: dict[str, Any], other: dict[str, Any]) -> bool:
    names = ("metric", "unit", "output", "at", "order")
    return all(one[name] == other[name] for name in names)
