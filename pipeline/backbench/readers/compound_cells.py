"""Cells that hold more than one number: a complex one, or a value with its uncertainty; bounds."""

from __future__ import annotations

import re

from backbench.quantities.numerals import DecimalSign

RECTANGULAR, DEGREES, RADIANS = "rectangular", "degrees", "radians"
PARTS = {
    RECTANGULAR: ("real", "imaginary"),
    DEGREES: ("magnitude", "phase"),
    RADIANS: ("magnitude", "phase"),
}
"""What the two numbers of a complex cell are, by how it is written."""
BOUND = re.compile(r"(?:<=?|>=?|≤|≥)\s*[0-9.,]")
SPREAD = re.compile(r"±|\+/-|\+-")
"""What stands between a value and its uncertainty."""


def _number(decimal: DecimalSign) -> str:
    point = re.escape(decimal)
    return rf"(?:[0-9]+{point}?[0-9]*|{point}[0-9]+)(?:[eE][-+−]?[0-9]+)?"


def complex_patterns(decimal: DecimalSign) -> dict[str, tuple[str, ...]]:
    """By how a complex number is written, patterns of a whole cell: two numbers, with their signs.

    Common practice, no source. Where an angle has no unit, or the comma within brackets is the
    decimal sign too, a cell is none of them.
    """
    n = _number(decimal)
    signed = rf"([-+−]?{n})"
    between = ",;" if decimal == "." else ";"
    return {
        RECTANGULAR: (
            rf"^{signed}\s*([-+−])\s*({n})\s*\*?\s*[ijIJ]$",
            rf"^\({signed}\s*([-+−])\s*({n})\s*\*?\s*[ijIJ]\)$",
            rf"^{signed}\s*([-+−])\s*[ij]\s*\*?\s*({n})$",
            rf"^\({signed}\s*[{between}]\s*([-+−]?)({n})\)$",
        ),
        DEGREES: (rf"^({n})\s*∠\s*([-+−]?)({n})\s*(?:°|deg)$",),
        RADIANS: (rf"^({n})\s*∠\s*([-+−]?)({n})\s*rad$",),
    }


_COMPLEX = {
    decimal: {
        form: re.compile("|".join(f"(?:{one})" for one in patterns))
        for form, patterns in complex_patterns(decimal).items()
    }
    for decimal in (".", ",")
}
LONGEST = 80
"""Characters of a cell that is looked at."""


def complex_form(cell: str, decimal: DecimalSign) -> str | None:
    """How a cell's complex number is written; None where it holds none."""
    if len(cell) > LONGEST:
        return None
    return next((form for form, one in _COMPLEX[decimal].items() if one.match(cell)), None)


def is_bound(cell: str) -> bool:
    """Whether a cell says only what its value is below or above."""
    return BOUND.match(cell) is not None


def value_and_spread(cell: str) -> tuple[str, str] | None:
    """The two sides of "0.9 ± 0.05 dB", each with its unit; None where a cell has no such sign.

    A unit that stands once, behind both, is of both, but for %, which may be of the value.
    """
    bracketed = re.fullmatch(r"\(([^()]*)\)\s*(\D*)", cell)
    text = "".join(bracketed.groups()) if bracketed else cell
    sides = SPREAD.split(text[:LONGEST])
    if len(sides) != 2:
        return None
    value, spread = (side.strip() for side in sides)
    if not re.match(r"[-+−]?[.,]?[0-9]", value) or not re.match(r"[.,]?[0-9]", spread):
        return None
    unit = re.sub(r"^[0-9.,]+(?:[eE][-+−]?[0-9]+)?", "", spread)
    of_both = value[-1].isdigit() and unit.strip() != "%"
    return (value + unit if of_both else value, spread)


def is_compound(cell: str, decimal: DecimalSign) -> bool:
    """Whether a cell is a complex number, a value with its uncertainty, or a bound."""
    return (
        is_bound(cell)
        or complex_form(cell, decimal) is not None
        or value_and_spread(cell) is not None
    )
