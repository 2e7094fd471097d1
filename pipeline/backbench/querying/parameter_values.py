"""The values of a query's parameters, read from text by their declared types."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from backbench.metrics.metric_names import metric_key
from backbench.quantities.days import EXPECTED, how_to_write
from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.reading import read_value

UNITS_OF_NAMES = {
    "db": "dB", "hz": "Hz", "ohm": "ohm", "percent": "%", "s": "s", "v": "V", "w": "W",
}  # fmt: skip
"""The unit that the last part of a parameter's name states: load_ohm is in ohm."""


def unit_of(name: str) -> str:
    """The unit of a numeric parameter by its name; "1" where the name states none."""
    return UNITS_OF_NAMES.get(name.rpartition("_")[2], "1") if "_" in name else "1"


def parameter_value(name: str, kind: str, text: str) -> object:
    """A parameter's value. Raises ValueError whose text says what is expected."""
    if kind == "number":
        return _number(text, unit_of(name))
    return _PARSERS.get(kind, str)(text)


def _number(text: str, unit: str) -> float:
    expected = "a number" if unit == "1" else f"a number in {unit}"
    try:
        return read_value(text, unit, usual_unit=unit)
    except UnreadableQuantity as error:
        raise ValueError(f"{expected}; {error.remedy}" if error.remedy else expected) from None


def _integer(text: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise ValueError("a whole number") from None


def _flag(text: str) -> bool:
    if text.lower() not in ("yes", "no", "true", "false"):
        raise ValueError("yes or no")
    return text.lower() in ("yes", "true")


def _date(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise ValueError("; ".join(filter(None, [EXPECTED, how_to_write(text)]))) from None


def _metric(text: str) -> str:
    """The key of a metric, however it is written; what names none is left for the catalogue."""
    return metric_key(text) or text


_PARSERS: dict[str, Callable[[str], object]] = {
    "integer": _integer, "flag": _flag, "date": _date, "metric": _metric,
}  # fmt: skip
