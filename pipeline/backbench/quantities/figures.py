"""Figures as people write them, turned into a metric's unit."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

Bound = Literal["upper", "lower"]

FIGURE = re.compile(
    r"\s*(?P<bound><=|>=|<|>|≤|≥|=|±|\+/-|~|≈|ca\.?\s)?\s*"
    r"(?P<number>[-+−–]?\s?(?:\d{1,3}(?:[ '’\u00a0\u202f]\d{3})+|\d+)?"
    r"(?:[.,]\d+)*(?:[eE][-+]?\d+)?)"
    r"\s*(?P<unit>[^\d\s].*?)?\s*"
)
BOUNDS: dict[str, Bound] = {"<": "upper", "<=": "upper", "≤": "upper",
                            ">": "lower", ">=": "lower", "≥": "lower"}  # fmt: skip
PREFIXES = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6}
SPELLED = {
    "Ω": "ohm", "Ohm": "ohm", "ohms": "ohm", "Ohms": "ohm", "R": "ohm", "percent": "%", "pct": "%",
    "w": "W", "v": "V", "watt": "W", "watts": "W", "volt": "V", "volts": "V", "db": "dB",
    "DB": "dB", "hz": "Hz", "KHz": "kHz", "khz": "kHz", "Vrms": "V", "V rms": "V", "mVrms": "mV",
    "mV rms": "mV", "Wrms": "W", "kΩ": "kohm", "mΩ": "mohm", "degrees": "deg", "°": "deg",
}  # fmt: skip
DBU_V = math.sqrt(0.6)
"""0 dBu: the volts that give 1 mW in 600 ohm."""
DECIBELS = {("dB", "%"): 100.0, ("dBV", "V"): 1.0, ("dBu", "V"): DBU_V}
"""What 0 dB is, by the unit as written and the unit wanted."""


@dataclass(frozen=True)
class Written:
    """A value in the metric's unit; bound where it was written as at most or at least."""

    value: float
    bound: Bound | None


def number_of(text: str, decimal: str | None = None) -> float:
    """The number in a text with a decimal point or comma. decimal: "." or ",", None: by its look.

    Raises ValueError where the look doesn't tell: "1,234" may be a thousand or a fraction.
    """
    plain = re.sub(r"[ '’\u00a0\u202f]", "", text).replace("−", "-").replace("–", "-")
    marks = [c for c in plain if c in ".,"]
    if decimal is None and marks:
        decimal = _decimal(plain, marks)
    if decimal == ",":
        plain = plain.replace(".", "").replace(",", ".") if "," in plain else _whole(plain, ".")
    else:
        plain = plain.replace(",", "") if "." in plain else _whole(plain, ",")
    value = float(plain)
    if not math.isfinite(value):
        raise ValueError(f"{text!r} is no finite number")
    return value


def _decimal(plain: str, marks: list[str]) -> str:
    """Which mark is the decimal one. The last of two kinds; a single one is, unless it is a
    comma with three digits after it."""
    if len(set(marks)) == 2:
        return marks[-1]
    if len(marks) > 1:
        return "." if marks[0] == "," else ","
    if marks == [","] and re.search(r"[1-9]\d{0,2},\d{3}$", plain):
        raise ValueError(f"{plain!r}: a thousand or a fraction? say which decimal mark is used")
    return marks[0]


def _whole(plain: str, group: str) -> str:
    """A number without its decimal mark, whose other mark can only group thousands."""
    if group in plain and not re.fullmatch(rf"[-+]?\d{{1,3}}(\{group}\d{{3}})+", plain):
        raise ValueError(f"{plain!r} has another decimal mark than stated")
    return plain.replace(group, "")


def read_figure(
    text: str, unit: str, *, usual_unit: str | None = None, decimal: str | None = None,
    load_ohm: float | None = None,
) -> Written:  # fmt: skip
    """A figure in a metric's unit. usual_unit: that of a number without one.

    Between % and dB, prefixes, dBV and dBu; between W and V where the load is known.
    Raises ValueError with what is wrong in words.
    """
    found = FIGURE.fullmatch(text)
    if not found or not re.search(r"\d", found["number"] or ""):
        raise ValueError(f"{text!r} is no figure")
    mark = (found["bound"] or "").strip()
    if mark and mark not in {*BOUNDS, "="}:
        raise ValueError(f"{text!r} is no single value")
    bound = BOUNDS.get(mark)
    written = (found["unit"] or usual_unit or "").strip()
    if not written and unit != "1":
        raise ValueError(f"{text!r} has no unit")
    number = number_of(found["number"], decimal)
    value = converted(number, SPELLED.get(written, written) or "1", unit, load_ohm)
    return Written(value, bound)


def converted(number: float, written: str, unit: str, load_ohm: float | None = None) -> float:
    """A number from one unit to another. Raises ValueError where they have nothing in common."""
    if written == unit:
        return number
    if (written, unit) in DECIBELS:
        return float(DECIBELS[written, unit] * 10 ** (number / 20))
    if (written, unit) == ("%", "dB") and number > 0:
        return 20 * math.log10(number / 100)
    if {base(written), unit} == {"V", "W"} and load_ohm and number >= 0:
        plain = number * PREFIXES.get(written[0] if len(written) > 1 else "", 1.0)
        return plain**2 / load_ohm if unit == "W" else math.sqrt(plain * load_ohm)
    if (written, unit) == ("ppm", "%"):
        return number * 1e-4
    if len(written) > 1 and written[1:] == unit and written[0] in PREFIXES:
        return number * PREFIXES[written[0]]
    raise ValueError(f"{written!r} can't be turned into {unit!r}")


def base(written: str) -> str:
    """A unit without its prefix."""
    return written[1:] if len(written) > 1 and written[0] in PREFIXES else written
