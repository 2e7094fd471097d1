"""A figure of a row, with its conditions and its uncertainty, as a manifest has it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from backbench.backfill import suggestions
from backbench.backfill.column_map import ReadingColumn
from backbench.backfill.compound_cells import (
    CompoundFigure,
    FigureUnits,
    contradiction,
    read_compound,
)
from backbench.backfill.decimal_signs import DecimalSigns
from backbench.backfill.other_rows import OtherRow, footnotes, marked
from backbench.backfill.problems import LeftOut, refuse_long
from backbench.backfill.spreadsheet import Cell
from backbench.metrics.registry import registry
from backbench.quantities.columns import MixedDecimalSigns
from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.numerals import DecimalSign
from backbench.quantities.reading import Bound
from backbench.quantities.writing import exact, in_text

_SWAPPED: dict[Bound | None, Bound | None] = {"upper": "lower", "lower": "upper", None: None}
"""Of a value whose sign is turned: less than -60 dB is more than 60 dB."""


@dataclass(frozen=True)
class CellsOfFigure:
    """The cell of a figure, that of its uncertainty, and the decimal sign of either.

    spread: None where the row has none.
    """

    figure: Cell
    decimal: DecimalSign | None
    spread: Cell | None = None
    spread_decimal: DecimalSign | None = None


def entered_figure(
    cells: CellsOfFigure, column: ReadingColumn, notes: Sequence[OtherRow]
) -> dict[str, Any]:
    """A figure as an entry of a manifest, without its unit and origin. Raises LeftOut."""
    metric = registry().metrics[column.metric]
    how = FigureUnits(metric.unit, column.unit, cells.decimal, column.at.load_ohm)
    text = cells.figure.text
    refuse_long(text)
    _refuse_unknown_percent(cells.figure, column.unit or metric.unit)
    _refuse_mark(text, notes, how)
    try:
        read = read_compound(text, how)
    except UnreadableQuantity as error:
        ranged = suggestions.is_range(text)
        proposal = (not ranged and error.remedy) or suggestions.for_figure(text, how, metric.better)
        reason = "is a range of values" if ranged else error.reason
        raise LeftOut(f"{error.text!r} {reason}", proposal) from None
    known = column.at.model_dump(exclude_none=True)
    if (problem := contradiction(read.at, known)) is not None:
        raise LeftOut(problem, "take that condition out of `at` in the map, or out of the cell")
    value = -read.figure.value if column.negate else read.figure.value
    bound = _SWAPPED[read.figure.bound] if column.negate else read.figure.bound
    return {
        "metric": column.metric, "output": column.output,
        "value": exact(value, metric.unit, bound), "at": {**known, **read.at} or None,
        "order": column.order, "uncertainty_percent": _uncertainty(read, cells, column, how),
    }  # fmt: skip


def _refuse_unknown_percent(cell: Cell, unit: str) -> None:
    if cell.is_percent is None and cell.is_number and unit == "%":
        raise LeftOut(
            "may be a percentage stored as a fraction: this kind of file doesn't tell",
            "save the workbook as .xlsx or .ods",
        )


def _refuse_mark(text: str, notes: Sequence[OtherRow], how: FigureUnits) -> None:
    """A footnote may change what a figure says, so somebody has to look at it."""
    found = marked(text, footnotes(notes))
    if found is not None:
        bare, note = found
        raise LeftOut(
            f"has the mark of the footnote in row {note.number}, {note.text[:100]!r}",
            f"write {bare} if the footnote changes nothing; a load, power or frequency may stand "
            f"behind the figure, as {bare} @ 4 Ω",
        )


def _uncertainty(
    read: CompoundFigure, cells: CellsOfFigure, column: ReadingColumn, how: FigureUnits
) -> float | None:
    """Standard uncertainty in per cent of the value. Raises LeftOut."""
    spread = read.spread
    if cells.spread is not None and spread is not None:
        raise LeftOut("has an uncertainty in its cell and one in its column", "take one out")
    share = None
    if cells.spread is not None:
        spread, share = _spread_of(cells, how)
    if spread is None and share is None:
        return column.uncertainty_percent
    if column.uncertainty_coverage is None:
        raise LeftOut(
            "has an uncertainty, and the map doesn't state what it covers",
            "add uncertainty_coverage to its [[reading]] in the map: 1 for standard deviations, "
            "2 for 95 %",
        )
    if read.figure.value == 0 and share is None:
        raise LeftOut("has an uncertainty, which can't be stated in per cent of 0",
                      "take the uncertainty out")  # fmt: skip
    relative = share if share is not None else 100 * (spread or 0.0) / abs(read.figure.value)
    standard = relative / column.uncertainty_coverage
    if standard > 100:
        raise LeftOut(f"has an uncertainty of {in_text(standard, '%')} of its value",
                      "write the figure as a bound, or take it out")  # fmt: skip
    return float(f"{standard:.6g}")


def _spread_of(cells: CellsOfFigure, how: FigureUnits) -> tuple[float | None, float | None]:
    """The amount of an uncertainty's cell in the figure's unit, or its share in per cent."""
    assert cells.spread is not None
    text = cells.spread.text.lstrip("±").removeprefix("+/-").strip()
    spread_units = FigureUnits(how.unit, how.usual_unit, cells.spread_decimal, how.load_ohm)
    relative = text.endswith("%") and how.unit != "%"
    try:
        if relative:
            value = FigureUnits("%", "%", cells.spread_decimal).read(text).value
        else:
            value = spread_units.read(text).value
    except UnreadableQuantity as error:
        raise LeftOut(f"its uncertainty {error.text!r} {error.reason}",
                      suggestions.for_figure(text, spread_units, "lower")) from None  # fmt: skip
    if value <= 0:
        raise LeftOut(f"its uncertainty {text!r} is no amount", "write a number above 0")
    return (None, value) if relative else (value, None)


def sign_of(signs: DecimalSigns, column: str, cell: Cell) -> DecimalSign | None:
    """The decimal sign to read a cell with. Raises LeftOut in a column that has both."""
    try:
        return signs.of(column, cell)
    except MixedDecimalSigns as error:
        raise LeftOut(f"{error.text!r} {error.reason}", error.remedy) from None
