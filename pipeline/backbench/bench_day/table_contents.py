"""What a file with a table holds, as far as the file itself tells."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from backbench.bench_day.preamble import CountedTime, counted_time
from backbench.bench_day.probe_factor import ProbeFactor, probe_factor
from backbench.quantities.counts import counted
from backbench.quantities.units import spelled_unit
from backbench.quantities.writing import in_text
from backbench.readers.array_tables import headings_of
from backbench.readers.complex_columns import (
    complex_columns,
    headings_of_parts,
    parts_in_words,
)
from backbench.readers.compound_cells import value_and_spread
from backbench.readers.declaration import ArrayContents, TableFormat
from backbench.readers.delimited import first_lines, text_layout
from backbench.readers.file_formats import HEAD_BYTES, readers
from backbench.readers.table_cells import cells_of, number_of
from backbench.readers.text_encoding import ENDINGS
from backbench.readers.text_layout import Heading, NoTable, TextLayout

RAW_ENDINGS = (".raw", ".bin", ".pcm")
"""Of the names of files that are often samples alone: common practice, no source."""
RAW = (
    "no format that is known here: where it holds samples without a header, state their layout "
    "(`raw`, with type, order and columns), the time by start and increment, and the factor from "
    "counts to volts"
)
OF_PROSE = (".txt", ".asc", ".prn")
"""Of the names of texts that need not be tables."""
NO_ROWS = "no rows of numbers"
MOST_NAMED = 6
A_NUMBER = re.compile(r"(?<![\w.])[-+]?[0-9]+(?:[.,][0-9]+)?(?!\w)")
MOST_ACROSS = 4
"""Lines of a table that stands on its side."""
UNITS_OF = 100
"""Rows whose cells are looked at for their units."""


@dataclass(frozen=True)
class TableContents:
    """The headings of a file's columns, of empty text where it has none, and the file in words.

    time: the first row's and the distance of the rows, where the file states them beside the table.
    probe: the factor of a probe that stands above it.
    """

    headings: tuple[Heading, ...]
    description: str
    time: CountedTime | None = None
    probe: ProbeFactor | None = None

    @property
    def headed(self) -> bool:
        """Whether the file says of a column what it is, by its heading or its cells' unit."""
        return any(heading.text or heading.unit for heading in self.headings)


def table_contents(path: Path, file: str) -> TableContents | str | None:
    """What the file holds; why nothing is known of it; None where it is no table.

    Raises UserError where it can't be read.
    """
    with path.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
    suffix = path.suffix.lower()
    matching = [one for one in readers() if one.matches(head, suffix)]
    for one in matching:
        if isinstance(one, TableFormat) and one.contents is not None:
            return _of_arrays(one.contents(path, file))
    if suffix in RAW_ENDINGS and not matching:
        return RAW
    return _of_text(path, file) if suffix in ENDINGS else None


def _of_text(path: Path, file: str) -> TableContents | str | None:
    lines = first_lines(path, file)
    try:
        layout = text_layout(lines, file)
    except NoTable:
        return _why_no_table(lines, prose=path.suffix.lower() in OF_PROSE)
    time = counted_time(lines[: layout.first], layout.decimal)
    found = complex_columns(lines, layout)
    whole = {column.position for column in found}
    own = [
        Heading("") if k in whole else heading
        for k, heading in enumerate(with_units_of_cells(lines, layout))
    ]
    words = _text_in_words(layout) + parts_in_words(found, len(own))
    probe = probe_factor(lines[: layout.first], layout.decimal)
    return TableContents((*own, *headings_of_parts(layout, found)), words, time, probe)


def _why_no_table(lines: Sequence[str], *, prose: bool) -> str | None:
    """Why a text is no table; None for one that needn't be, and doesn't look like one."""
    filled = [line for line in lines[:UNITS_OF] if line.strip()]
    numbers = [len(A_NUMBER.findall(line)) for line in filled]
    if max(numbers, default=0) > 2 and len(filled) <= MOST_ACROSS:
        return f"{NO_ROWS}: where values stand beside each other, save it with a row for each"
    held = sum(number > 1 for number in numbers)
    return None if prose and (held < len(filled) / 2 or held < 3) else NO_ROWS


def with_units_of_cells(lines: Sequence[str], layout: TextLayout) -> tuple[Heading, ...]:
    """The headings; one without a unit has that which each cell beneath it states."""
    rows = [cells_of(line, layout.separator) for line in lines[layout.first :][:UNITS_OF]]
    stated: list[set[str]] = [set() for _ in layout.headings]
    for row in rows:
        for k, cell in enumerate(row[: len(stated)]):
            value = value_and_spread(cell)
            read = number_of(value[0] if value else cell, layout.decimal)
            if read is not None:
                named = spelled_unit(read[1]) if read[1] else None
                stated[k].add(named[0] if named else "")
    return tuple(
        replace(heading, unit=next(iter(units)))
        if not heading.unit and len(units) == 1
        else heading
        for heading, units in zip(layout.headings, stated, strict=True)
    )


def _text_in_words(layout: TextLayout) -> str:
    parted = {"\t": "tabs", ";": "semicolons", ",": "commas", "|": "bars", " ": "spaces"}
    sign = ", decimal commas" if layout.decimal == "," else ""
    by = f", parted by {parted[layout.separator]}" if layout.width > 1 else ""
    columns = counted(layout.width, "column")
    return f"a table of {columns} from line {layout.first + 1} on{by}{sign}"


def _of_arrays(held: ArrayContents) -> TableContents | str:
    """The columns of one length that are most, or else longest; the others have no heading."""
    lengths = Counter(length for _, length in held.columns if length)
    if not lengths:
        return f"{_arrays_in_words(held)}: no columns of numbers"
    most = max(lengths, key=lambda length: (lengths[length], length))
    named = headings_of([name for name, _ in held.columns])
    headings = tuple(
        heading if length == most and not heading.text.isdigit() else Heading("")
        for heading, (_, length) in zip(named, held.columns, strict=True)
    )
    stated = {name: f"{_own_name(name)},{value!r}" for name, value in held.single}
    time = counted_time([*stated.values()], ".")
    words = _arrays_in_words(held)
    if time is not None:
        tellers = [name for name, line in stated.items() if counted_time([line], ".")]
        words += f", time from {' and '.join(tellers)}"
    return TableContents(headings, words, time)


def _own_name(name: str) -> str:
    """The name of a single value without that of what it belongs to."""
    return re.split(r"[/.@]", name)[-1]


def _arrays_in_words(held: ArrayContents) -> str:
    parts = [f"{name} ({shape})" if name else shape for name, shape in held.arrays]
    parts += [f"{name} = {in_text(value)}" for name, value in held.single]
    more = [f"{len(parts) - MOST_NAMED} more"] if len(parts) > MOST_NAMED else []
    return f"arrays: {', '.join([*parts[:MOST_NAMED], *more])}"
