"""Numbers that stand beneath each other: one prefix, equal decimals, points above points."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from backbench.quantities.units import takes_prefix
from backbench.quantities.writing import (
    COVERAGE,
    MOST_DIGITS,
    NO_BREAK,
    decimals_beside,
    fixed,
    number,
    power_of,
    unit_mark,
)

WIDEST = 5
"""Digits of the greatest number of a column with equal decimals; beyond it each number keeps its
own decimals, and its point stands where the others' do."""
LEAST_DIGITS = 2
"""Of the smallest number of such a column."""
DIGIT_SPACE, POINT_SPACE, JOINER = "\u2007", "\u2008", "\u2060"
"""Spaces as wide as a digit and as a point, and what keeps them at the end of a line."""
MARKS = {"upper": f"≤{NO_BREAK}", "lower": f"≥{NO_BREAK}"}


@dataclass(frozen=True)
class NumberColumn:
    """The numbers of a column as text, to be set flush right, and their unit with its prefix."""

    texts: list[str]
    unit: str


def number_column(
    values: Sequence[float | None], unit: str = "", bounds: Sequence[str | None] = (),
    none_shown: str = "",
) -> NumberColumn:  # fmt: skip
    """Numbers with one prefix, the usual one of the middle number, and equal decimals.

    values: in the unit, finite; None is shown as `none_shown`. bounds: "upper", "lower" or None of
    each value; a bound is rounded away from what it excludes. Where equal decimals would make a
    number wider than WIDEST digits, each has its own and is filled up with spaces.
    """
    power = _power([v for v in values if v is not None], unit)
    scaled = [None if v is None else v / 10.0**power for v in values]
    kinds = [*bounds] or [None] * len(values)
    places = _places([v for v in scaled if v is not None])
    if places is None:
        own = [none_shown if v is None else _own(v, kind)
               for v, kind in zip(scaled, kinds, strict=True)]  # fmt: skip
        return NumberColumn(_filled(own), unit_mark(unit, power))
    texts = [none_shown if v is None else _equal(v, kind, places)
             for v, kind in zip(scaled, kinds, strict=True)]  # fmt: skip
    return NumberColumn(texts, unit_mark(unit, power))


def alike(values: Sequence[float], uncertainty: float | None, unit: str) -> list[str]:
    """Values to be held beside each other: one prefix, and equal decimals.

    uncertainty: standard, of their difference, in their unit; None where it isn't known. As many
    decimals as `measured` gives the greatest of them beside it.
    """
    greatest = max(map(abs, values), default=0.0)
    if not greatest:
        return [number(value) + unit_mark(unit, 0) for value in values]
    spread = COVERAGE * (uncertainty or 0.0) or greatest / 10.0 ** (MOST_DIGITS - 2)
    power, places = decimals_beside(greatest, spread, unit)
    return [fixed(value / 10.0**power, places) + unit_mark(unit, power) for value in values]


def _power(values: Sequence[float], unit: str) -> int:
    sizes = [abs(value) for value in values if value]
    if not sizes or not takes_prefix(unit):
        return 0
    return power_of(statistics.median_low(sizes))


def _places(values: Sequence[float]) -> int | None:
    """Decimals for all of them; None where no number of decimals suits all."""
    sizes = [abs(value) for value in values if value]
    if not sizes:
        return 0
    most, least = (math.floor(math.log10(size)) for size in (max(sizes), min(sizes)))
    wanted = max(MOST_DIGITS - 1 - most, LEAST_DIGITS - 1 - least, 0)
    places = _used(values, wanted)
    return places if places + max(most, 0) + 1 <= WIDEST or not places else None


def _used(values: Sequence[float], most: int) -> int:
    """The most decimals that one of the numbers has by itself; `most` where that has them or more.

    Of thousands the first few mostly tell.
    """
    used = 0
    for value in values:
        if used >= most:
            return most
        used = max(used, len(_own(value, None).partition(".")[2]))
    return min(used, most)


def _equal(value: float, bound: str | None, places: int) -> str:
    if bound is None:
        return fixed(value, places)
    away = math.ceil if bound == "upper" else math.floor
    nudge = -1e-9 if bound == "upper" else 1e-9
    return MARKS[bound] + fixed(away(value * 10.0**places + nudge) / 10.0**places, places)


def _own(value: float, bound: str | None) -> str:
    if bound is None or not value:
        return MARKS.get(bound or "", "") + number(value, MOST_DIGITS)
    places = MOST_DIGITS - 1 - math.floor(math.log10(abs(value)))
    text = _equal(value, bound, max(places, 0))
    return text.rstrip("0").rstrip(".") if "." in text else text


def _filled(texts: Sequence[str]) -> list[str]:
    """Each with spaces behind it in place of the digits that the longest has there."""
    fractions = [text.partition(".")[2] for text in texts]
    longest = max(map(len, fractions), default=0)
    return [
        text + (POINT_SPACE * (not fraction) + DIGIT_SPACE * (longest - len(fraction)) + JOINER
                if longest > len(fraction) else "")
        for text, fraction in zip(texts, fractions, strict=True)
    ]  # fmt: skip
