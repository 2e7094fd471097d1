"""Declared columns: which a table may have, in which units, brought to one unit each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
import polars as pl

from backbench.documents.stimuli import Table, TableColumn
from backbench.documents.validation import shortened
from backbench.errors import Fault, UserError
from backbench.quantities.counts import counted
from backbench.quantities.units import scaled, spelled_unit
from backbench.readers.declaration import TableData
from backbench.signal.track import Array

MAX_ROWS = 5_000_000
MAX_LISTED = 5
"""Cells that are told one by one; the rest is counted."""
FREQUENCY = ("Hz", "kHz")
VOLTAGE = ("V", "mV", "uV")
TIME = ("s", "ms", "us")
RESISTANCE = ("ohm", "kohm")
UNITS: dict[str, dict[str, tuple[str, ...]]] = {
    "response": {"frequency": FREQUENCY, "level": ("dB", *VOLTAGE), "phase": ("deg",)},
    "impedance": {"frequency": FREQUENCY, "magnitude": RESISTANCE, "phase": ("deg",)},
    "trace": {"time": TIME, "voltage": VOLTAGE},
    "tuner": {
        "rf_level": ("dBf", *VOLTAGE),
        "audio_level": ("dB", *VOLTAGE, "W"),
        "noise": ("dB", *VOLTAGE),
        "distortion": ("%", "dB"),
        "separation": ("dB",),
    },
}
"""The units of each column, those with a prefix brought to the one without."""
NEEDED = {
    "response": ("frequency", "level"),
    "impedance": ("frequency", "magnitude"),
    "trace": ("time", "voltage"),
    "tuner": ("rf_level", "audio_level"),
}


class Scaled(NamedTuple):
    """A column of the file and the factor to its unit here."""

    name: str
    factor: float


def declared(table: Table, name: str) -> dict[str, Scaled]:
    """Where each declared column is found, and its factor. Raises UserError with every fault."""
    known = UNITS[table.table]
    faults = [
        Fault(f"{name}, columns", f"no {key!r}", f"a {table.table} table to declare it")
        for key in NEEDED[table.table]
        if key not in table.columns
    ]
    for key, column in table.columns.items():
        if key not in known:
            expected = f"one of {', '.join(known)}"
            faults.append(Fault(f"{name}, columns", f"the unknown column {key!r}", expected))
        elif column.unit not in known[key]:
            expected = f"one of {', '.join(known[key])}"
            faults.append(
                Fault(f"{name}, column {key}", f"the unit {shortened(column.unit)}", expected)
            )
    if faults:
        raise UserError(f"{name} can't be read", faults)
    return {k: Scaled(c.name, _factor(c.unit)) for k, c in table.columns.items()}


def _factor(unit: str) -> float:
    named = spelled_unit(unit)
    assert named is not None, unit
    return scaled(1.0, named[1])


def present(columns: dict[str, TableColumn], names: Sequence[str], name: str) -> None:
    """Raise UserError where a declared column is not in the file, or more than once."""
    there = shortened(", ".join(names), 200)
    faults = []
    for column in columns.values():
        times = list(names).count(column.name)
        if times != 1:
            problem = f"{column.name!r} {times} times" if times else f"no column {column.name!r}"
            expected = "each declared column once"
            faults.append(Fault(name, problem, expected, f"columns there: {there}"))
    if faults:
        raise UserError(f"{name} can't be read", faults)


def converted(
    frame: pl.DataFrame, wanted: dict[str, Scaled], name: str, place: Callable[[int], str]
) -> TableData:
    """Declared columns as numbers; place words the row of a fault. Raises UserError."""
    if frame.is_empty():
        raise UserError(f"{name} can't be read", [Fault(name, "no rows", "at least one")])
    faults: list[Fault] = []
    values: dict[str, Array] = {}
    for key, (column, factor) in wanted.items():
        text = frame[column].cast(pl.String).str.strip_chars()
        numbers = text.cast(pl.Float64, strict=False).to_numpy().astype(np.float64)
        for row in np.flatnonzero(~np.isfinite(numbers)).tolist():
            faults.append(_cell(text[row], f"{name}, {place(row)}, column {column!r}"))
        values[key] = numbers * factor
    if faults:
        raise UserError(_summed(name, len(faults)), faults[:MAX_LISTED])
    return TableData(values)


def _summed(name: str, number: int) -> str:
    more = f", the first {MAX_LISTED} listed here" if number > MAX_LISTED else ""
    return f"{name} can't be read: {counted(number, 'cell')} without a number{more}"


def _cell(text: str | None, where: str) -> Fault:
    content = "an empty cell" if not text else shortened(text)
    remedy = "write decimals with a point" if text and "," in text else ""
    return Fault(where, content, "a finite number", remedy)
