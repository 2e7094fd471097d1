"""How a table stands in a text: which lines are its rows, what parts the cells, what heads them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from backbench.quantities.numerals import DecimalSign
from backbench.quantities.units import spelled_unit
from backbench.readers.compound_cells import is_compound
from backbench.readers.table_cells import cells_of, is_mark, is_number

LOOKED_AT = 1000
"""Lines from which the layout is worked out."""
SEPARATORS = ("\t", ";", ",", "|", " ")
"""The last stands for any run of spaces."""
COMMENT = re.compile(r"\s*(?:[#;*!%]|//)\s*")
_SETTING = re.compile(r"[\s:=,;][-+]?[0-9]*\.?[0-9]+(?:[eE][-+]?[0-9]+)?(?:[\s,;]*\w*)?$")
"""A value behind a name, which heads no column."""
_SLASHED = re.compile(r"^(?P<name>.*\S)\s*(?:/|,|\bin\b|_)\s*(?P<unit>[^/,\s]+(?: rms)?)\s*$")
_LAST_WORD = re.compile(r"^(?P<name>.*\S)\s+(?P<unit>\S+)$")


@dataclass(frozen=True)
class Heading:
    """A column's heading: its whole text, that without the unit, and the unit where it has one."""

    text: str
    name: str = ""
    unit: str = ""


@dataclass(frozen=True)
class TextLayout:
    """Where the rows of numbers are, and how they are read.

    first: position of the first row among the lines. width: cells a row, those after the last
    separator left out where they are always empty. headings: by column; of empty text where the
    file has none.
    """

    separator: str
    decimal: DecimalSign
    first: int
    width: int
    headings: tuple[Heading, ...]

    @property
    def headed(self) -> bool:
        """Whether the file names its columns."""
        return any(heading.text for heading in self.headings)


class NoTable(ValueError):
    """A text without rows of numbers."""


class TwoLayouts(ValueError):
    """A text that may be read in two ways; its message names both."""


def layout_of(lines: Sequence[str]) -> TextLayout:
    """How the table in a text stands.

    lines: the text's lines without their ends. The rows are the lines with equally many cells of
    which each is a number, a mark for none, or empty. Where there are none, some columns may hold
    text: the rows are then the lines with numbers in the same columns.

    Raises NoTable where no line holds a number, TwoLayouts where the text has two readings.
    """
    looked_at = lines[:LOOKED_AT]
    found = _readings(looked_at, _rows) or _readings(looked_at, _rows_beside_text)
    if not found:
        raise NoTable("no line of numbers")
    # Of readings of equally many rows the one with more headings, then with more cells.
    layout = max(found, key=lambda one: one[:3])[3]
    _refuse_two_readings(looked_at[layout.first :], layout)
    return layout


DECIMALS: tuple[DecimalSign, ...] = (".", ",")
Reading = tuple[int, int, int, TextLayout]
"""One reading of a text: number of rows, headings, cells a row, and the layout."""
FoundRows = Callable[[Sequence[str], str, DecimalSign], tuple[int, int, int] | None]
"""Number of rows, their width and the first one's position; None where there is none."""


def _readings(lines: Sequence[str], rows_of: FoundRows) -> list[Reading]:
    return [
        _layout(lines, separator, decimal, rows)
        for separator, decimal in _written_with(lines)
        if (rows := rows_of(lines, separator, decimal))
    ]


def _written_with(lines: Sequence[str]) -> list[tuple[str, DecimalSign]]:
    """Separators and decimal signs under which the lines can read differently.

    Separators that stand nowhere all give the same: one cell a line.
    """
    text = "\n".join(lines).replace("\t", "\t ")  # a tab parts words as a space does
    there = [one for one in SEPARATORS if one in text]
    absent = [one for one in SEPARATORS if one not in there][:1]
    decimals = [one for one in DECIMALS if one == "." or one in text]
    kept = [one for one in SEPARATORS if one in there + absent]
    return [(one, decimal) for one in kept for decimal in decimals if one != decimal]


def is_comment(line: str) -> bool:
    """Whether a line that is no row is a comment by its first character."""
    return COMMENT.match(line) is not None


def _rows(
    lines: Sequence[str], separator: str, decimal: DecimalSign
) -> tuple[int, int, int] | None:
    """Lines of nothing but numbers."""
    widths = [_width(line, separator, decimal) for line in lines]
    counts = Counter(width for width in widths if width)
    if not counts:
        return None
    width = max(counts, key=lambda w: (counts[w], w))
    # A row may end before its last cells where these are empty.
    return counts[width], width, widths.index(width)


LEAST_BESIDE_TEXT = 3


def _rows_beside_text(
    lines: Sequence[str], separator: str, decimal: DecimalSign
) -> tuple[int, int, int] | None:
    """Lines with numbers in the same columns, text in others; counted by their numbers."""
    if separator == " ":
        return None
    kinds = [tuple(is_number(c, decimal) for c in cells_of(line, separator)) for line in lines]
    counts = Counter(kind for kind in kinds if len(kind) > 1 and any(kind))
    if not counts:
        return None
    kind = max(counts, key=lambda k: (counts[k] * sum(k), k))
    if counts[kind] < LEAST_BESIDE_TEXT:
        return None
    return counts[kind] * sum(kind), len(kind), kinds.index(kind)


def _width(line: str, separator: str, decimal: DecimalSign) -> int:
    """Cells of a row of numbers; 0 where the line is none."""
    cells = cells_of(line, separator)
    numbers = 0
    for cell in cells:
        if is_number(cell, decimal) or is_compound(cell, decimal):
            numbers += 1
        elif cell and not is_mark(cell):
            return 0
    return len(cells) if numbers else 0


def _layout(
    lines: Sequence[str], separator: str, decimal: DecimalSign, rows: tuple[int, int, int]
) -> Reading:
    count, width, first = rows
    first = _beside_text(lines, first, separator, decimal)
    headings = _headings(lines, first, separator, width)
    if not any(heading.text for heading in headings) and _numbered(lines[first:], separator):
        headings = (Heading(""), *_headings(lines, first, separator, width - 1))
    width = max(width, len(headings))
    named = sum(bool(heading.text) for heading in headings)
    layout = TextLayout(separator, decimal, first, width, headings)
    return count, named, width, layout


def _beside_text(lines: Sequence[str], first: int, separator: str, decimal: DecimalSign) -> int:
    """The first row, where settings stand in columns beside the first rows' numbers."""
    cells = cells_of(lines[first], separator)
    filled = [k for k, cell in enumerate(cells) if cell]
    if separator == " " or len(filled) < 2 or filled[0] < 2:
        return first
    while first > 0:
        above = cells_of(lines[first - 1], separator)
        if len(above) != len(cells) or not all(is_number(above[k], decimal) for k in filled):
            break
        first -= 1
    return first


def _numbered(rows: Sequence[str], separator: str) -> bool:
    """Whether the first cells of rows of three or more count them: often they have no heading."""
    cells = [cells_of(row, separator) for row in rows[:20] if row.strip()]
    if len(cells) < 3 or min(map(len, cells)) < 3:
        return False
    first = 1 if cells[0][0] == "1" else 0
    return [row[0] for row in cells] == [str(n) for n in range(first, first + len(cells))]


def _headings(lines: Sequence[str], first: int, separator: str, width: int) -> tuple[Heading, ...]:
    """Headings by column, from the lines above the first row."""
    above = [k for k in range(first) if lines[k].strip()]
    while above:
        last = above.pop()
        cells = _heading_cells(lines[last], separator, width)
        if cells is not None and above and _all_units(cells):
            names = _heading_cells(lines[above[-1]], separator, width)
            if names is not None:
                units = [_bare(cell) for cell in cells]
                return tuple(map(_with_unit, names, units))
        if cells is not None:
            return tuple(map(heading_of, cells))
        if not is_comment(lines[last]):
            break
    return (Heading(""),) * width


def _heading_cells(line: str, separator: str, width: int) -> list[str] | None:
    """The cells of a line that may head the columns; None where it can't."""
    plain = COMMENT.sub("", line, count=1) if is_comment(line) else line
    if width == 1 and _SETTING.search(plain[-LONGEST_END:]):
        return None
    for text in (line, plain) if separator == ";" else (plain,):
        cells = _cells_across(text, separator, width)
        if cells and all(map(_is_value, cells[width:])):
            # Settings may stand beside the last headings.
            cells = cells[:width]
        if cells and not any(map(_is_value, cells)):
            return cells + [""] * (width - len(cells))
    return None


def _is_value(cell: str) -> bool:
    """Whether a cell is no name: a number, a day or a time."""
    if cell and not re.search(r"[^\W\d_]|[%°|]", cell):
        return not _all_units([cell]) and any(sign.isdigit() for sign in cell)
    return is_number(cell, ".") and not _all_units([cell])


def _cells_across(text: str, separator: str, width: int) -> list[str] | None:
    """The cells of a line that reaches across all columns; None where it doesn't."""
    cells = cells_of(text, separator)
    if separator == " " and len(cells) != width:
        # Headings hold spaces of their own.
        cells = [cell for cell in re.split(r"\t|\s{2,}", text.strip()) if cell]
    # Rows may lack their last cells, and headings of empty columns may be empty.
    whole = text.count(separator) + 1 >= width and separator != " "
    return cells if len(cells) == width or (whole and len(cells) > 1) else None


UPPER = {"S": "s", "SEC": "s"}
"""Units in the capitals of instruments that have no others."""


def _bare(cell: str) -> str:
    plain = cell.strip("()[]{} ")
    return UPPER.get(plain, plain)


def _all_units(cells: Sequence[str]) -> bool:
    named = [_bare(cell) for cell in cells if _bare(cell) not in {"", "-"}]
    return bool(named) and all(spelled_unit(cell) is not None for cell in named)


def _with_unit(text: str, unit: str) -> Heading:
    named = heading_of(text)
    return Heading(text, named.name, unit if spelled_unit(unit) else named.unit)


def heading_of(text: str) -> Heading:
    """A heading and the unit that it states: "Freq (Hz)", "Level [dBV]", "Level/V", "time ms"."""
    bracketed = _bracketed(text.strip())
    if bracketed is not None:
        name, unit = bracketed[0], _bare(bracketed[1])
        return Heading(text, name, unit if spelled_unit(unit) else "")
    # A unit is short, and these patterns take long over a long line of spaces.
    before, end = text[:-LONGEST_END], text[-LONGEST_END:]
    for pattern in (_SLASHED, _LAST_WORD):
        match = pattern.match(end)
        if match is not None and spelled_unit(match["unit"]) is not None:
            return Heading(text, (before + match["name"]).rstrip(" /,_"), match["unit"])
    return Heading(text, text)


LONGEST_END = 80
"""Characters at the end of a line that tell its unit or its value."""
OPENING, CLOSING = "([{", ")]}"


def _bracketed(text: str) -> tuple[str, str] | None:
    """What stands before the brackets that a text ends with, and in them."""
    if not text.endswith(tuple(CLOSING)):
        return None
    earlier = max(text.rfind(sign, 0, -1) for sign in CLOSING)
    openings = [text.find(sign, earlier + 1) for sign in OPENING]
    first = min((place for place in openings if place >= 0), default=None)
    return None if first is None else (text[:first].rstrip(), text[first + 1 : -1].strip())


def _refuse_two_readings(lines: Sequence[str], layout: TextLayout) -> None:
    """Raise TwoLayouts where a comma may part cells or be the decimal sign, or group thousands."""
    separator, decimal = layout.separator, layout.decimal
    rows = [line for line in lines if _width(line, separator, decimal)]
    whole = re.compile(r"\s*[-+−]?[0-9]+,[0-9]+\s*")
    two = (separator, layout.width, layout.headed) == (",", 2, False)
    if two and rows and all(map(whole.fullmatch, rows)):
        raise TwoLayouts(
            f"lines such as {rows[0].strip()!r}: two columns of whole numbers, or one column "
            "with decimal commas"
        )
    if decimal == ",":
        cells = [c for row in rows for c in cells_of(row, separator) if "," in c]
        if cells and all(re.fullmatch(r"[-+−]?[1-9][0-9]{0,2},[0-9]{3}", c) for c in cells):
            raise TwoLayouts(
                f"cells such as {cells[0]!r}: a decimal comma, or one that groups thousands"
            )
