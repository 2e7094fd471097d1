"""The reader of quantities: a text with a number and a unit, turned into the unit wanted."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.numerals import NUMERAL, DecimalSign, TwoReadings, read_number
from backbench.quantities.units import UNITS, scaled, spelled_unit, symbol
from backbench.quantities.writing import in_text

Bound = Literal["upper", "lower"]

_TEXT = re.compile(
    rf"\s*(?P<bound><=|>=|<|>|≤|≥|=|±|\+/-|~|≈|ca\.?\s)?\s*(?P<number>{NUMERAL})"
    r"\s*(?P<unit>[^0-9\s.,].*?)?\s*"
)
_RESISTOR = re.compile(r"\s*(?P<whole>[0-9]+)(?P<mark>[RkKM])(?P<rest>[0-9]{1,3})\s*")
"""The mark in place of the decimal sign: 4R7, 2k2 (IEC 60062, clause 4)."""
_BOUNDS: dict[str, Bound] = {"<": "upper", "<=": "upper", "≤": "upper",
                             ">": "lower", ">=": "lower", "≥": "lower"}  # fmt: skip
DBU_V = math.sqrt(0.6)
"""0 dBu in volts: 1 mW in 600 ohm (IEC 60268-3)."""
_OF_ONE = {"%": 1e2, "‰": 1e3, "ppm": 1e6}
"""What a ratio of 1 is in each unit."""
_DECIBELS_OF_VOLTS = {"dBV": 1.0, "dBu": DBU_V}
"""What 0 dB is in volts."""


@dataclass(frozen=True)
class ParsedQuantity:
    """A value in the unit wanted; bound where it was written as at most or at least."""

    value: float
    bound: Bound | None = None


def read_quantity(
    text: str, unit: str, *, usual_unit: str | None = None, decimal: DecimalSign | None = None,
    load_ohm: float | None = None,
) -> ParsedQuantity:  # fmt: skip
    """A quantity in the unit wanted.

    Parameters
    ----------
    text
        As written: "0,08 %", "< -75 dB", "1 250 mV", "16 Ω", "4R7".
    unit
        The unit wanted, a key of `units.UNITS`.
    usual_unit
        That of a number without one; without it only numbers of unit "1" may stand alone.
    decimal
        The decimal sign where it is known, as in a column of a sheet.
    load_ohm
        The load in ohm, which turns volts into watts and back.

    Raises
    ------
    UnreadableQuantity
        For a text that is no single quantity, has two readings, has a unit that can't be turned
        into the one wanted, or a value beyond any bench's.
    """
    match = _TEXT.fullmatch(_resistor(text) if unit == "ohm" else text)
    if match is None:
        raise UnreadableQuantity(text, "is no quantity")
    mark = (match["bound"] or "").strip()
    if mark and mark not in {*_BOUNDS, "="}:
        raise UnreadableQuantity(text, "is no single value")
    number = _number(text, match["number"], match["unit"] or "", decimal)
    written = (match["unit"] or usual_unit or "").strip()
    if not written and unit != "1":
        raise UnreadableQuantity(text, "has no unit", f"write the unit, as in 5 {symbol(unit)}")
    named = spelled_unit(written) if written else ("1", 0)
    if named is None:
        raise UnreadableQuantity(text, f"has a unit {written!r} that can't be turned into {unit!r}")
    base = _bounded(text, scaled(number, named[1]), named[0])
    return ParsedQuantity(_bounded(text, _converted(text, base, named[0], unit, load_ohm), unit),
                   _BOUNDS.get(mark))  # fmt: skip


def read_value(text: str, unit: str, *, usual_unit: str | None = None) -> float:
    """A quantity that is no bound, in the unit wanted. Raises UnreadableQuantity."""
    written = read_quantity(text, unit, usual_unit=usual_unit)
    if written.bound is not None:
        raise UnreadableQuantity(text, "is a bound", "write the value alone")
    return written.value


def read_load(text: str) -> float | Literal["open"]:
    """A load in ohm, "open" for one of high impedance: "8", "16 R", "16Ω", "4R7", "high".

    Raises UnreadableQuantity.
    """
    if " ".join(text.lower().split()) in {"open", "high", "high impedance", "high-z", "hi-z"}:
        return "open"
    value = read_value(text, "ohm", usual_unit="ohm")
    if value <= 0:
        raise UnreadableQuantity(text, "is no load", 'write ohms above 0, or "open"')
    return value


def _resistor(text: str) -> str:
    match = _RESISTOR.fullmatch(text)
    if match is None:
        return text
    prefix = "" if match["mark"] == "R" else match["mark"]
    return f"{match['whole']}.{match['rest'].rstrip('0') or 0} {prefix}ohm"


def _number(text: str, number: str, unit: str, decimal: DecimalSign | None) -> float:
    try:
        return read_number(number, decimal)
    except TwoReadings as error:
        raise TwoReadings(text.strip(), *error.values, unit) from None
    except UnreadableQuantity as error:
        raise UnreadableQuantity(text, error.reason, error.remedy) from None


def _bounded(text: str, value: float, unit: str) -> float:
    greatest = UNITS[unit].greatest
    if not abs(value) <= greatest:
        most = in_text(greatest, unit, 6)
        raise UnreadableQuantity(text, f"is more than {most}, beyond any bench's values")
    return value


def _converted(
    text: str, number: float, written: str, unit: str, load_ohm: float | None
) -> float:  # fmt: skip
    """A number from one unit without a prefix to another, each in bounds."""
    if written == unit:
        return number
    if written in _DECIBELS_OF_VOLTS and unit == "V":
        return float(_DECIBELS_OF_VOLTS[written] * 10.0 ** (number / 20))
    if written == "dB" and unit in _OF_ONE:
        return float(10.0 ** (number / 20) * _OF_ONE[unit])
    if written in _OF_ONE and unit == "dB":
        if number <= 0:
            raise UnreadableQuantity(text, "has no value in dB", "write a ratio above 0")
        return 20 * math.log10(number / _OF_ONE[written])
    if written in _OF_ONE and unit in _OF_ONE:
        return number * _OF_ONE[unit] / _OF_ONE[written]
    if {written, unit} == {"V", "W"} and load_ohm and number >= 0:
        return number**2 / load_ohm if unit == "W" else math.sqrt(number * load_ohm)
    if {written, unit} == {"V", "W"} and not load_ohm:
        raise UnreadableQuantity(text, f"can't be turned into {unit!r} without a load",
                                 "write the load in ohm beside it")  # fmt: skip
    raise UnreadableQuantity(text, f"has a unit {written!r} that can't be turned into {unit!r}")
