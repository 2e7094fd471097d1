"""What is said of a cell that holds no value that can be used, and what to do about it."""

from __future__ import annotations

import re

from backbench.documents.validation import shortened
from backbench.errors import Fault
from backbench.quantities.numerals import DecimalSign
from backbench.readers.compound_cells import PARTS, SPREAD, complex_form, is_bound

REMEDIES: tuple[tuple[re.Pattern[str], str], ...] = (
    (
        re.compile(r"\(?[-+−]?[0-9.,eE]+ ?[-+−] ?[ij]?[0-9.,eE+-]+[ij]?\)?"),
        "write the real and the imaginary part as columns of their own",
    ),
    (re.compile(r".*∠.*"), "write the angle with its unit: 1.02∠-7.1°"),
    (
        re.compile(rf".*(?:{SPREAD.pattern}).*"),
        "write value and uncertainty as numbers in the column's unit: 0.9 ± 0.05",
    ),
    (
        re.compile(r"[0-9]{1,2}:[0-9]{2}(?::[0-9.,]+)?(?: ?[AaPp][Mm])?"),
        "declare time with start and increment",
    ),
    (
        re.compile(r"[-+−]?[0-9]{1,3}(?:[.,'’\s][0-9]{3})+"),
        "it may be a fraction or thousands: write it without signs between thousands",
    ),
    (re.compile(r".*,.*"), "write decimals with a point"),
)
"""What to do about a cell, by how the whole of it is written; the first that fits."""


def fault_of_cell(text: str | None, where: str, expected: str, decimal: DecimalSign) -> Fault:
    """The fault of a cell without a usable value. where: file, row and column, in words."""
    if not text:
        return Fault(where, "an empty cell", expected)
    if is_bound(text):
        found = f"the bound {shortened(text)}"
        return Fault(where, found, expected, "a bound is no value: leave its row out")
    return Fault(where, shortened(text), expected, _remedy(text, decimal))


def _remedy(text: str, decimal: DecimalSign) -> str:
    form = complex_form(text, decimal)
    if form is not None:
        first, second = PARTS[form]
        return f"declare its parts: the column's heading with {first!r} or {second!r} behind it"
    return next((remedy for pattern, remedy in REMEDIES if pattern.fullmatch(text)), "")
