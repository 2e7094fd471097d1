"""Numbers as people write them: decimal points and commas, thousands apart, true minus signs."""

from __future__ import annotations

import math
import re
from typing import Literal

from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.units import LEAST

DecimalSign = Literal[".", ","]

SPACES = " '’\u00a0\u2009\u202f"
"""What may stand between thousands beside the point and the comma."""
NUMERAL = rf"[-+−–]?\s?(?:[0-9][0-9{SPACES}.,]*)?[.,]?[0-9]+(?:[eE][-+−]?[0-9]+)?"
_PARTS = re.compile(rf"(?P<sign>[-+−–]?)\s?(?P<mantissa>[0-9{SPACES}.,]+)"
                    r"(?P<exponent>[eE][-+−]?[0-9]+)?")  # fmt: skip
LONGEST = 40
"""Characters of a number; no instrument shows more."""


def read_number(text: str, decimal: DecimalSign | None = None) -> float:
    """The number in a text.

    decimal: the decimal sign where it is known; None: by the text alone. A comma before three
    digits may group thousands, and so may a point before three digits of which the last is 0:
    "1,234" and "1.500" have two readings, "0,123", "1.234", "12,5" and "1 234,567" have one.

    Raises UnreadableQuantity for what is no number, has two readings, or is out of all range.
    """
    parts = _PARTS.fullmatch(text.strip())
    if parts is None or len(text) > LONGEST:
        raise UnreadableQuantity(text, "is no number")
    readings = _by_sign(parts)
    if decimal is not None:
        if decimal not in readings:
            other = readings and f"has another decimal sign than the stated {decimal!r}"
            raise UnreadableQuantity(text, other or "is no number")
        return _finite(text, readings[decimal])
    if not readings:
        raise UnreadableQuantity(text, "is no number")
    if len(set(map(float, readings.values()))) == 2 and _doubtful(parts["mantissa"]):
        few, many = sorted((float(reading) for reading in readings.values()), key=abs)
        raise TwoReadings(text, few, many)
    return _finite(text, readings.get(".", readings.get(",", "")))


class TwoReadings(UnreadableQuantity):
    """A number that is a fraction or thousands; unit is repeated in the proposal."""

    def __init__(self, text: str, few: float, many: float, unit: str = "") -> None:
        self.values = (few, many)
        unit = f" {unit}" if unit else ""
        proposals = f"{few:.15g}{unit} or {many:.15g}{unit}"
        super().__init__(text, f"may be {proposals}", f"write {proposals}")


def decimal_sign(text: str) -> DecimalSign | None:
    """The decimal sign that a number shows beyond doubt; None where it shows none."""
    parts = _PARTS.fullmatch(text.strip())
    if parts is None:
        return None
    readings = _by_sign(parts)
    if len(readings) == 1:
        return "." if "." in readings else ","
    return None


def _by_sign(parts: re.Match[str]) -> dict[str, str]:
    """The number as each decimal sign that it can have makes it."""
    return {sign: value for sign in (".", ",") if (value := _plain(parts, sign)) is not None}


def _plain(parts: re.Match[str], sign: str) -> str | None:
    """The number as a program writes it, if `sign` is the decimal one; None where it can't be."""
    mantissa, exponent = parts["mantissa"].strip(), parts["exponent"] or ""
    whole, point, fraction = mantissa.partition(sign)
    if point and not re.fullmatch(r"[0-9]+", fraction):
        return None
    groups = re.escape(SPACES + ("," if sign == "." else "."))
    grouped = re.fullmatch(rf"[1-9][0-9]{{0,2}}([{groups}])[0-9]{{3}}(?:\1[0-9]{{3}})*", whole)
    if grouped and exponent and grouped[1] in ".,":
        return None
    if not grouped and not re.fullmatch(r"[0-9]+" if not point else r"[0-9]*", whole):
        return None
    digits = re.sub(r"[^0-9]", "", whole) or "0"
    minus = "-" if parts["sign"] in ("-", "−", "–") and parts["sign"] else ""
    return f"{minus}{digits}.{fraction or 0}{exponent.replace('−', '-')}"


def _doubtful(mantissa: str) -> bool:
    """A point is taken for the decimal sign, except before digits that end like a thousand's."""
    return "," in mantissa or mantissa.endswith("0")


def _finite(text: str, plain: str) -> float:
    value = float(plain)
    nothing = not re.search(r"[1-9]", plain.lower().partition("e")[0])
    if not math.isfinite(value) or (abs(value) < LEAST and not nothing):
        raise UnreadableQuantity(text, "is out of the range of any measurement")
    return value
