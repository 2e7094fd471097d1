"""A column of figures: all of it is written with one decimal sign."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.numerals import NUMERAL, DecimalSign, decimal_sign

_NUMBER = re.compile(NUMERAL)


class MixedDecimalSigns(UnreadableQuantity):
    """A column of which some cells have a decimal comma and others a decimal point."""


def column_sign(texts: Mapping[str, str] | Iterable[tuple[str, str]]) -> DecimalSign | None:
    """The decimal sign that the cells of a column show; None where none shows one.

    texts: of each cell, by its place, as "F12".

    Raises MixedDecimalSigns with the first place of either sign.
    """
    shown: dict[DecimalSign, tuple[str, str]] = {}
    pairs = texts.items() if isinstance(texts, Mapping) else texts
    for place, text in pairs:
        match = _NUMBER.search(text)
        sign = decimal_sign(match[0]) if match else None
        if sign is not None:
            shown.setdefault(sign, (place, text))
    if len(shown) == 2:
        (comma_at, comma), (point_at, point) = shown[","], shown["."]
        raise MixedDecimalSigns(
            comma, f"in {comma_at} has a decimal comma, {point!r} in {point_at} a decimal point",
            "write the column with one decimal sign, or state `decimal` in the map",
        )  # fmt: skip
    return next(iter(shown), None)
