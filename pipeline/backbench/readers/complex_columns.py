"""Columns of complex numbers, whose parts count as columns behind the last one of the file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from backbench.quantities.numerals import DecimalSign
from backbench.readers.compound_cells import (
    DEGREES,
    PARTS,
    RADIANS,
    complex_form,
    complex_patterns,
)
from backbench.readers.table_cells import cells_of
from backbench.readers.text_layout import LOOKED_AT, Heading, TextLayout

ANGLE_UNITS = {DEGREES: "deg", RADIANS: "rad"}


@dataclass(frozen=True)
class ComplexColumn:
    """A column of complex numbers: its position from 0, and how they are written."""

    position: int
    form: str


def complex_columns(lines: Sequence[str], layout: TextLayout) -> list[ComplexColumn]:
    """The columns of a table of which more than half the first cells are written in one form."""
    rows = [cells_of(line, layout.separator) for line in lines[layout.first :][:LOOKED_AT]]
    found = []
    for position in range(layout.width):
        cells = [row[position] for row in rows if position < len(row) and row[position]]
        forms = Counter(complex_form(cell, layout.decimal) for cell in cells)
        form, count = forms.most_common(1)[0] if forms else (None, 0)
        if form is not None and count > len(cells) / 2:
            found.append(ComplexColumn(position, form))
    return found


def headings_of_parts(layout: TextLayout, found: Sequence[ComplexColumn]) -> tuple[Heading, ...]:
    """Two headings for each column of complex numbers; of empty text where it has none itself."""
    return tuple(
        _heading_of(layout.headings[column.position], column.form, part)
        for column in found
        for part in PARTS[column.form]
    )


def _heading_of(whole: Heading, form: str, part: str) -> Heading:
    unit = ANGLE_UNITS.get(form, "") if part == "phase" else whole.unit
    if not whole.text:
        return Heading("", "", unit)
    # A magnitude is what the column is named after.
    name = whole.name if part == "magnitude" else f"{whole.name} {part}"
    return Heading(f"{whole.text} {part}", name, unit)


def with_parts(
    cells: pl.DataFrame, found: Sequence[ComplexColumn], decimal: DecimalSign
) -> pl.DataFrame:
    """The cells with those of the parts behind them, as text; None where one isn't complex."""
    parts = []
    for column in found:
        text = cells.to_series(column.position).str.strip_chars()
        patterns = complex_patterns(decimal)[column.form]
        first = pl.coalesce([text.str.extract(one, 1) for one in patterns])
        sign = pl.coalesce([text.str.extract(one, 2) for one in patterns])
        second = pl.coalesce([text.str.extract(one, 3) for one in patterns])
        both = pl.select(first.alias("first"), (sign + second).alias("second"))
        parts += [both["first"], both["second"]]
    named = [part.alias(f"part {n}") for n, part in enumerate(parts)]
    return cells.with_columns(named)


def source_of(place: int, layout: TextLayout, found: Sequence[ComplexColumn]) -> int:
    """The position of the column of the file that a declared one is, or is a part of."""
    beyond = place - len(layout.headings)
    return place if beyond < 0 else found[beyond // 2].position


def parts_in_words(found: Sequence[ComplexColumn], columns: int) -> str:
    """Which columns hold complex numbers, and by which numbers their parts are declared."""
    return "".join(
        f", complex numbers in column {column.position + 1}, whose {first} part is column "
        f"{columns + 2 * n + 1} and {second} part column {columns + 2 * n + 2}"
        for n, column in enumerate(found)
        for first, second in (PARTS[column.form],)
    )
