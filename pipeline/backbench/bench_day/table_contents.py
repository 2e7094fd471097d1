"""What a file with a table holds, as far as the file itself tells."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from backbench.bench_day.preamble import CountedTime, counted_time
from backbench.quantities.counts import counted
from backbench.quantities.writing import in_text
from backbench.readers.array_tables import headings_of
from backbench.readers.declaration import ArrayContents, TableFormat
from backbench.readers.delimited import first_lines, text_layout
from backbench.readers.file_formats import HEAD_BYTES, readers
from backbench.readers.text_encoding import ENDINGS
from backbench.readers.text_layout import Heading, NoTable, TextLayout

RAW_ENDINGS = (".raw", ".bin", ".pcm")
"""Of the names of files that are often samples alone: common practice, no source."""
RAW = (
    "no format that is known here: where it holds samples without a header, state their layout "
    "(`raw`, with type, order and columns), the time by start and increment, and the factor from "
    "counts to volts"
)
MOST_NAMED = 6


@dataclass(frozen=True)
class TableContents:
    """The headings of a file's columns, of empty text where it has none, and the file in words.

    time: the first row's and the distance of the rows, where the file states them beside the table.
    """

    headings: tuple[Heading, ...]
    description: str
    time: CountedTime | None = None

    @property
    def headed(self) -> bool:
        """Whether the file names its columns."""
        return any(heading.text for heading in self.headings)


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


def _of_text(path: Path, file: str) -> TableContents | None:
    lines = first_lines(path, file)
    try:
        layout = text_layout(lines, file)
    except NoTable:
        return None
    time = counted_time(lines[: layout.first], layout.decimal)
    return TableContents(layout.headings, _text_in_words(layout), time)


def _text_in_words(layout: TextLayout) -> str:
    parted = {"\t": "tabs", ";": "semicolons", ",": "commas", "|": "bars", " ": "spaces"}
    sign = ", decimal commas" if layout.decimal == "," else ""
    return (
        f"a table of {counted(layout.width, 'column')} from line {layout.first + 1} on, parted "
        f"by {parted[layout.separator]}{sign}"
    )


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
    stated = [f"{name},{value!r}" for name, value in held.single]
    return TableContents(headings, _arrays_in_words(held), counted_time(stated, "."))


def _arrays_in_words(held: ArrayContents) -> str:
    parts = [f"{name} ({shape})" if name else shape for name, shape in held.arrays]
    parts += [f"{name} = {in_text(value)}" for name, value in held.single]
    more = [f"{len(parts) - MOST_NAMED} more"] if len(parts) > MOST_NAMED else []
    return f"arrays: {', '.join([*parts[:MOST_NAMED], *more])}"
