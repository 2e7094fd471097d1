"""The cells of one line of a table in a text, and the number that one holds."""

from __future__ import annotations

import csv
import re

from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.numerals import DecimalSign, read_number
from backbench.quantities.units import bare_prefix, scaled, spelled_unit

MARKS = {
    "OL", "O.L", "O.L.", "OVL", "OVLD", "OVER", "OVERLOAD", "OVERFLOW", "OVERRANGE", "UNDER", "UL",
    "NAN", "INF", "+INF", "-INF", "1.#INF", "-1.#INF", "1.#IND", "-1.#IND", "1.#QNAN", "N/A", "NA",
    "ERR", "ERROR", "INVALID", "?",
}  # fmt: skip
"""What instruments write where they have no value: common practice, no source."""
_DASHES = re.compile(r"[-–—_*.]{1,8}")
_APART = "'’\u00a0\u2009\u202f "
"""What may stand between thousands beside the point and the comma."""


def _numeral(decimal: str, other: str) -> re.Pattern[str]:
    """A number; thousands may be grouped where the decimal sign shows what groups them."""
    point = re.escape(decimal)
    grouped = rf"[0-9]{{1,3}}(?:[{re.escape(other)}{_APART}][0-9]{{3}})+{point}[0-9]+"
    plain = rf"(?:[0-9]+{point}?[0-9]*|{point}[0-9]+)(?:[eEdD][-+−]?[0-9]+)?"
    return re.compile(rf"[-+−]?(?:{grouped}|{plain})")


_NUMBER = {".": _numeral(".", ","), ",": _numeral(",", ".")}


def cells_of(line: str, separator: str) -> list[str]:
    """The cells of one line, stripped; empty ones at the end left out."""
    if '"' in line:
        apart = separator == " "
        text = line.strip() if apart else line
        read = csv.reader([text], delimiter=separator, skipinitialspace=apart)
        cells = [cell.strip() for cell in next(read)]
        cells = [cell for cell in cells if cell] if apart else cells
    elif separator == " ":
        cells = line.split()
    else:
        cells = [cell.strip() for cell in line.split(separator)]
    while cells and not cells[-1]:
        cells.pop()
    return cells


def is_number(cell: str, decimal: DecimalSign) -> bool:
    """Whether a cell is a number, with or without a unit or a prefix behind it."""
    match = _NUMBER[decimal].match(cell)
    if match is None:
        return False
    rest = cell[match.end() :].strip()
    return not rest or bare_prefix(rest) is not None or spelled_unit(rest) is not None


def number_of(cell: str, decimal: DecimalSign) -> tuple[float, str] | None:
    """A cell's number and the unit behind it; None where it holds no number.

    A prefix without a unit counts: "1k" is 1000.
    """
    match = _NUMBER[decimal].match(cell)
    if match is None or not is_number(cell, decimal):
        return None
    rest = cell[match.end() :].strip()
    power = bare_prefix(rest)
    try:
        value = read_number(re.sub("[dD]", "e", match[0]), decimal)
    except UnreadableQuantity:
        return None
    return (value, rest) if power is None else (scaled(value, power), "")


def is_mark(cell: str) -> bool:
    """Whether a cell says that there is no value."""
    return cell.upper() in MARKS or _DASHES.fullmatch(cell) is not None
