"""How a table stands in a text: which lines are its rows, what parts the cells, what heads them."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from backbench.quantities.numerals import DecimalSign
from backbench.quantities.units import spelled_unit

LOOKED_AT = 1000
"""Lines from which the layout is worked out."""
SEPARATORS = ("\t", ";", ",", "|", " ")
"""The last stands for any run of spaces."""
COMMENT = re.compile(r"\s*(?:[#;*!%]|//)\s*")
MARKS = {
    "OL", "O.L", "O.L.", "OVL", "OVLD", "OVER", "OVERLOAD", "OVERFLOW", "OVERRANGE", "UNDER", "UL",
    "NAN", "INF", "+INF", "-INF", "1.#INF", "-1.#INF", "1.#IND", "-1.#IND", "1.#QNAN", "N/A", "NA",
    "ERR", "ERROR", "INVALID", "?",
}  # fmt: skip
"""What instruments write where they have no value: common practice, no source."""
_DASHES = re.compile(r"[-–—_*.]{1,8}")
_NUMBER = {
    ".": re.compile(r"[-+−]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eEdD][-+−]?[0-9]+)?"),
    ",": re.compile(r"[-+−]?(?:[0-9]+,?[0-9]*|,[0-9]+)(?:[eEdD][-+−]?[0-9]+)?"),
}
_SETTING = re.compile(r"[\s:=,;][-+]?[0-9]*\.?[0-9]+(?:[eE][-+]?[0-9]+)?(?:[\s,;]*\w*)?$")
"""A value behind a name, which heads no column."""
_BRACKETED = re.compile(r"^(?P<name>.*?)\s*[(\[{]\s*(?P<unit>[^)\]}]*)\s*[)\]}]\s*$")
_SLASHED = re.compile(r"^(?P<name>.*\S)\s*(?:/|,|\bin\b|_)\s*(?P<unit>[^/,\s]+)\s*$")
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

    lines: the text's lines without their ends. The rows are the longest run of lines with equally
    many cells of which each is a number, a mark for none, or empty.

    Raises NoTable where no line holds a number, TwoLayouts where the text has two readings.
    """
    looked_at = lines[:LOOKED_AT]
    found = [
        _layout(looked_at, separator, decimal, rows)
        for separator, decimal in _readings(looked_at)
        if (rows := _rows(looked_at, separator, decimal))
    ]
    if not found:
        raise NoTable("no line of numbers")
    # Of readings of equally many rows the one with more headings, then with more cells.
    layout = max(found, key=lambda one: one[:3])[3]
    _refuse_two_readings(looked_at[layout.first :], layout)
    return layout


DECIMALS: tuple[DecimalSign, ...] = (".", ",")


def _readings(lines: Sequence[str]) -> list[tuple[str, DecimalSign]]:
    """Separators and decimal signs under which the lines can read differently.

    Separators that stand nowhere all give the same: one cell a line.
    """
    text = "\n".join(lines).replace("\t", "\t ")  # a tab parts words as a space does
    there = [one for one in SEPARATORS if one in text]
    absent = [one for one in SEPARATORS if one not in there][:1]
    decimals = [one for one in DECIMALS if one == "." or one in text]
    kept = [one for one in SEPARATORS if one in there + absent]
    return [(one, decimal) for one in kept for decimal in decimals if one != decimal]


def cells_of(line: str, separator: str) -> list[str]:
    """The cells of one line, stripped; empty ones at the end left out."""
    if separator == " ":
        cells = line.split()
    elif '"' in line:
        cells = [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]
    else:
        cells = [cell.strip() for cell in line.split(separator)]
    while cells and not cells[-1]:
        cells.pop()
    return cells


def is_number(cell: str, decimal: DecimalSign) -> bool:
    """Whether a cell is a number, with or without a unit behind it."""
    match = _NUMBER[decimal].match(cell)
    if match is None:
        return False
    rest = cell[match.end() :].strip()
    return not rest or spelled_unit(rest) is not None


def number_of(cell: str, decimal: DecimalSign) -> tuple[float, str] | None:
    """A cell's number and the unit behind it; None where it holds no number."""
    match = _NUMBER[decimal].match(cell)
    if match is None or not is_number(cell, decimal):
        return None
    plain = match[0].replace(",", ".").replace("−", "-")
    return float(re.sub("[dD]", "e", plain)), cell[match.end() :].strip()


def is_mark(cell: str) -> bool:
    """Whether a cell says that there is no value."""
    return cell.upper() in MARKS or _DASHES.fullmatch(cell) is not None


def is_comment(line: str) -> bool:
    """Whether a line that is no row is a comment by its first character."""
    return COMMENT.match(line) is not None


def _rows(
    lines: Sequence[str], separator: str, decimal: DecimalSign
) -> tuple[int, int, int] | None:
    """Number of rows, their width and the first one's position; None where there is none."""
    widths = [_width(line, separator, decimal) for line in lines]
    counts = Counter(width for width in widths if width)
    if not counts:
        return None
    width = max(counts, key=lambda w: (counts[w], w))
    # A row may end before its last cells where these are empty.
    return counts[width], width, widths.index(width)


def _width(line: str, separator: str, decimal: DecimalSign) -> int:
    """Cells of a row of numbers; 0 where the line is none."""
    cells = cells_of(line, separator)
    numbers = 0
    for cell in cells:
        if is_number(cell, decimal):
            numbers += 1
        elif cell and not is_mark(cell):
            return 0
    return len(cells) if numbers else 0


def _layout(
    lines: Sequence[str], separator: str, decimal: DecimalSign, rows: tuple[int, int, int]
) -> tuple[int, int, int, TextLayout]:
    """One reading of a text: number of rows, headings, cells a row, and the layout."""
    count, width, first = rows
    first = _beside_text(lines, first, separator, decimal)
    headings = _headings(lines, first, separator, width)
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
    if width == 1 and _SETTING.search(plain):
        return None
    for text in (line, plain) if separator == ";" else (plain,):
        cells = _cells_across(text, separator, width)
        if cells and not any(is_number(c, ".") and not _all_units([c]) for c in cells):
            return cells + [""] * (width - len(cells))
    return None


def _cells_across(text: str, separator: str, width: int) -> list[str] | None:
    """The cells of a line that reaches across all columns; None where it doesn't."""
    cells = cells_of(text, separator)
    if separator == " " and len(cells) != width:
        # Headings hold spaces of their own.
        cells = [cell for cell in re.split(r"\t|\s{2,}", text.strip()) if cell]
    # Rows may lack their last cells, and headings of empty columns may be empty.
    whole = text.count(separator) + 1 >= width and separator != " "
    return cells if len(cells) == width or (whole and len(cells) > 1) else None


def _bare(cell: str) -> str:
    return cell.strip("()[]{} ")


def _all_units(cells: Sequence[str]) -> bool:
    named = [_bare(cell) for cell in cells if _bare(cell) not in {"", "-"}]
    return bool(named) and all(spelled_unit(cell) is not None for cell in named)


def _with_unit(text: str, unit: str) -> Heading:
    named = heading_of(text)
    return Heading(text, named.name, unit if spelled_unit(unit) else named.unit)


def heading_of(text: str) -> Heading:
    """A heading and the unit that it states: "Freq (Hz)", "Level [dBV]", "Level/V", "time ms"."""
    bracketed = _BRACKETED.match(text)
    if bracketed is not None:
        unit = bracketed["unit"] if spelled_unit(bracketed["unit"]) else ""
        return Heading(text, bracketed["name"], unit)
    for pattern in (_SLASHED, _LAST_WORD):
        match = pattern.match(text)
        if match is not None and spelled_unit(match["unit"]) is not None:
            return Heading(text, match["name"].rstrip(" /,_"), match["unit"])
    return Heading(text, text)


def _refuse_two_readings(lines: Sequence[str], layout: TextLayout) -> None:
    """Raise TwoLayouts where a comma may part cells or be the decimal sign, or group thousands."""
    separator, decimal = layout.separator, layout.decimal
    rows = [line for line in lines if _width(line, separator, decimal)]
    whole = re.compile(r"\s*[-+−]?[0-9]+,[0-9]+\s*")
    if (separator, layout.width, layout.headed) == (",", 2, False) and all(
        map(whole.fullmatch, rows)
    ):
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
