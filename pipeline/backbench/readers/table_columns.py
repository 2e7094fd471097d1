"""Declared columns: which a table may have, in which units, brought to one unit each."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import polars as pl

from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.documents.validation import shortened
from backbench.errors import Fault, UserError
from backbench.quantities.counts import counted
from backbench.quantities.numerals import DecimalSign
from backbench.quantities.units import UNITS as KNOWN_UNITS
from backbench.quantities.units import scaled, spelled_unit
from backbench.readers.cell_faults import fault_of_cell
from backbench.readers.column_numbers import numbers_of
from backbench.readers.column_uncertainty import column_uncertainty, with_spread
from backbench.readers.declaration import TableData
from backbench.readers.stated_spread import spread_apart, stated_spread
from backbench.readers.table_sweeps import second_sweep
from backbench.signal.track import Array

MAX_ROWS = 5_000_000
MAX_LISTED = 5
"""Cells that are named one by one; the rest is counted."""
MOST_LEFT_OUT = 0.1
"""Share of the rows that may lack a value; a table that lacks more is not what was declared."""
OVER_RANGE = 9e36
"""Magnitude from which a number says that there is none (9.9e37, 9.91e37: SCPI 1999, 7.2.1; from
memory)."""
MOST_DB = 220.0
"""No instrument reaches further, in dB: the noise of a resistor of 1 ohm within a millihertz is
-228 dB re 1 V (Johnson and Nyquist, from memory), and what rounding leaves of equal numbers in
double precision lies at about -306 dB."""
LEAST_V = 10 ** (-MOST_DB / 20)
"""The same in volts."""
FREQUENCY = ("Hz", "kHz", "MHz")
VOLTAGE = ("V", "mV", "uV", "kV")
TIME = ("s", "ms", "us", "ns")
RESISTANCE = ("ohm", "kohm", "mohm", "Mohm")
ANGLE = ("deg", "rad")
DECIBELS = ("dB", "dBV", "dBu")
LEVEL = (*DECIBELS[1:], *VOLTAGE)
POWER = ("W", "mW", "kW")
DISTORTION = ("%", "dB")
UNITS: dict[str, dict[str, tuple[str, ...]]] = {
    "response": {
        "frequency": FREQUENCY, "level": (*DECIBELS, *VOLTAGE), "phase": ANGLE,
        "generator": (*DECIBELS, *VOLTAGE), "real": VOLTAGE, "imaginary": VOLTAGE,
    },
    "impedance": {
        "frequency": FREQUENCY, "magnitude": RESISTANCE, "phase": ANGLE,
        "real": RESISTANCE, "imaginary": RESISTANCE,
    },
    "trace": {"time": TIME, "voltage": VOLTAGE, "generator": VOLTAGE},
    "tuner": {
        "rf_level": ("dBf", *VOLTAGE),
        "audio_level": ("dB", *VOLTAGE, "W"),
        "noise": ("dB", *VOLTAGE),
        "distortion": ("%", "dB"),
        "separation": ("dB",),
        "stereo_audio_level": ("dB", *VOLTAGE),
        "stereo_noise": ("dB", *VOLTAGE),
        "stereo_distortion": ("%", "dB"),
        "am_suppression": ("dB",),
    },
    "interference": {
        "interferer_level": ("dB",), "same_channel": ("dB",), "adjacent_channel": ("dB",),
        "alternate_channel": ("dB",), "image": ("dB",), "intermediate_frequency": ("dB",),
    },
    "distortion": {
        "frequency": FREQUENCY, "power": POWER, "level": LEVEL, "generator": LEVEL,
        "thd": DISTORTION, "thd_n": DISTORTION,
    },
    "harmonics": {
        "order": ("1",), "frequency": FREQUENCY, "level": (*DECIBELS, *VOLTAGE, "%"),
    },
    "spectrum": {"frequency": FREQUENCY, "level": (*DECIBELS, *VOLTAGE)},
}  # fmt: skip
"""The units of each column, those with a prefix brought to the one without."""
NEEDED = {
    "response": ("frequency", "level"),
    "impedance": ("frequency", "magnitude"),
    "trace": ("time", "voltage"),
    "tuner": ("rf_level", "audio_level"),
    "interference": ("interferer_level",),
    "distortion": (),
    "harmonics": ("level",),
    "spectrum": ("frequency", "level"),
}
ONE_OF = {
    "distortion": (("frequency", "power", "level", "generator"), ("thd", "thd_n")),
    "harmonics": (("order", "frequency"),),
    "interference": (
        (
            "same_channel",
            "adjacent_channel",
            "alternate_channel",
            "image",
            "intermediate_frequency",
        ),
    ),
}
"""Columns of which a kind needs one at least."""
COUNTED = ("time", "frequency")
"""May follow from a start and an increment."""
SWEPT = {
    "trace": "time", "response": "frequency", "impedance": "frequency", "spectrum": "frequency",
}  # fmt: skip
"""What a kind of table goes through once."""
ABOVE_ZERO = {"response": ("level", "generator"), "distortion": ("power", "level", "generator")}
"""Columns whose logarithm is taken, by kind of table: a row with 0 or less has no value."""
PAIR = ("real", "imaginary")
"""May stand for the level or the magnitude, and the phase."""
MAGNITUDE = {"response": "level", "impedance": "magnitude"}


class Scaled(NamedTuple):
    """A declared column, and the factor from its unit to the one here."""

    column: TableColumn
    factor: float


@dataclass(frozen=True)
class Rows:
    """Cells of the declared columns, by key.

    place words a row of the frame. decimal: the sign of its numbers. left_out: rows that the
    reader left out, each with its place and the reason. text: lines among the rows that hold no
    number, which are not counted as rows. counts: number of each row among those of
    the file, from 0, left-out ones counted; None where none was left out. unused: a remark on
    columns that nothing declares.
    """

    frame: pl.DataFrame
    place: Callable[[int], str]
    decimal: DecimalSign = "."
    left_out: Sequence[str] = ()
    text: Sequence[str] = ()
    counts: Array | None = None
    unused: str | None = None


def declared(table: Table, name: str) -> dict[str, Scaled]:
    """Each declared column and its factor. Raises UserError with every fault."""
    known = UNITS[table.table]
    paired = all(key in table.columns for key in PAIR)
    faults = [
        Fault(
            f"{name}, column {key}", "a start and an increment", "a column of the file",
            "only times and frequencies may be counted",
        )
        for key, column in table.columns.items()
        if column.counted and key not in COUNTED
    ]  # fmt: skip
    faults += [
        Fault(f"{name}, columns", f"no {key!r}", f"a {table.table} table to declare it")
        for key in NEEDED[table.table]
        if key not in table.columns and not (paired and key == MAGNITUDE.get(table.table))
    ]
    faults += [
        Fault(f"{name}, columns", f"none of {', '.join(keys)}", f"one of a {table.table} table")
        for keys in ONE_OF.get(table.table, ()) if not table.columns.keys() & {*keys}
    ]  # fmt: skip
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
    return {key: Scaled(c, _factor(c.unit)) for key, c in table.columns.items()}


def _factor(unit: str) -> float:
    if unit == "rad":
        return 180 / math.pi
    named = spelled_unit(unit)
    assert named is not None, unit
    return scaled(1.0, named[1])


def converted(rows: Rows, wanted: dict[str, Scaled], name: str, table: Table) -> TableData:
    """Declared columns as numbers, in one unit each.

    Rows in which a value is missing, over range or beyond what an instrument can mean are left
    out and named; so are further rows of one frequency, and of 0 Hz or below. Raises UserError
    where they are more than a tenth of the rows.
    """
    if rows.frame.is_empty():
        raise UserError(f"{name} can't be read", [Fault(name, "no rows", "at least one")])
    values: dict[str, Array] = {}
    uncertainty: dict[str, Array] = {}
    wrong: dict[int, Fault] = {}
    for key, (column, factor) in wanted.items():
        if column.counted:
            values[key], uncertainty[key] = _counted(rows, column, factor)
            continue
        text = rows.frame[key].cast(pl.String).str.strip_chars()
        apart = spread_apart(text)
        plain = text if apart is None else apart.values
        numbers = numbers_of(plain, column.unit, rows.decimal)
        stated = None if apart is None else stated_spread(apart.spreads, column.unit, rows.decimal)
        if stated is not None:
            numbers[np.isnan(stated)] = np.nan
        above_zero = key in ABOVE_ZERO.get(table.table, ())
        for row in np.flatnonzero(_impossible(numbers, column.unit, above_zero)).tolist():
            where = f"{name}, {rows.place(row)}, column {column.label!r}"
            wrong.setdefault(
                row,
                fault_of_cell(text[row], where, _expected(numbers[row], above_zero), rows.decimal),
            )
            numbers[row] = np.nan
        values[key] = _corrected(numbers, column) * factor
        uncertainty[key] = column_uncertainty(plain, numbers, column, rows.decimal)
        uncertainty[key] = with_spread(uncertainty[key], stated, column) * factor
    _refuse_second_sweep(values, rows, name, table.table)
    _repeated(values, wrong, rows, name, table.table)
    problems = [*rows.left_out, *(_left_out(wrong[row], name) for row in sorted(wrong))]
    if len(problems) > MOST_LEFT_OUT * (len(rows.frame) + len(rows.left_out)):
        raise _refused(rows, wrong, name)
    kept = np.ones(len(rows.frame), dtype=bool)
    kept[list(wrong)] = False
    columns = {key: column[kept] for key, column in values.items()}
    spread = {key: column[kept] for key, column in uncertainty.items()}
    if PAIR[0] in columns:
        columns, spread = _polar(columns, spread, MAGNITUDE[table.table])
    remarks = [text for text in (_remark([*rows.text, *problems]), rows.unused) if text]
    return TableData(columns, spread, "; ".join(remarks) or None)


def _refuse_second_sweep(values: dict[str, Array], rows: Rows, name: str, kind: str) -> None:
    """Raise UserError where times or frequencies that are gone through once begin again."""
    key = SWEPT.get(kind)
    row = None if key is None else second_sweep(values[key], key == "frequency")
    if row is not None:
        where = f"{name}, {rows.place(row)}"
        remedy = "keep each in a file of its own"
        fault = Fault(where, f"a {key} that begins again", "the rows of one sweep", remedy)
        raise UserError(f"{name} can't be read", [fault])


def _counted(rows: Rows, column: TableColumn, factor: float) -> tuple[Array, Array]:
    """Values that follow from a start and an increment, and their uncertainty, which is none."""
    height = len(rows.frame)
    counts = np.arange(height, dtype=np.float64) if rows.counts is None else rows.counts
    values = ((column.start or 0.0) + (column.increment or 0.0) * counts) * factor
    return np.asarray(values), np.zeros(height)


def _corrected(numbers: Array, column: TableColumn) -> Array:
    """Values times the column's factor, plus its offset, both as declared."""
    factor = 1.0 if column.factor is None else column.factor
    return np.asarray(numbers * factor + (column.offset or 0.0))


def _impossible(numbers: Array, unit: str, above_zero: bool) -> Array:
    """Which values are missing, over range, or beyond what an instrument can mean."""
    if unit.startswith("dB"):
        return np.asarray(~(np.abs(numbers) < MOST_DB))
    named = spelled_unit(unit)
    most = OVER_RANGE
    if named is not None and unit not in ANGLE:
        most = min(most, KNOWN_UNITS[named[0]].greatest / scaled(1.0, named[1]))
    wrong = ~(np.abs(numbers) < most)
    if above_zero:
        wrong |= ~(numbers > LEAST_V)
    return np.asarray(wrong)


def _repeated(
    values: dict[str, Array], wrong: dict[int, Fault], rows: Rows, name: str, kind: str
) -> None:
    """Add rows of a frequency that stands before, and of none, to those that are wrong.

    A table of distortion may hold a frequency at several powers; a spectrum may begin at 0 Hz.
    """
    if "frequency" not in values or kind == "spectrum":
        return
    hz = values["frequency"]
    _, first = np.unique(hz, return_index=True)
    again = np.full(len(hz), kind != "distortion")
    again[first] = False
    for row in np.flatnonzero(again | (hz <= 0)).tolist():
        problem = "a frequency that stands before" if hz[row] > 0 else "no frequency above 0"
        where = f"{name}, {rows.place(row)}, column 'frequency'"
        wrong.setdefault(row, Fault(where, problem, "each frequency once, above 0"))


def _polar(
    columns: dict[str, Array], uncertainty: dict[str, Array], magnitude: str
) -> tuple[dict[str, Array], dict[str, Array]]:
    """Magnitude and phase, degrees, in place of real and imaginary parts."""
    parts = columns["real"] + 1j * columns["imaginary"]
    u = np.maximum(uncertainty["real"], uncertainty["imaginary"])
    size = np.abs(parts)
    rest = {key: values for key, values in columns.items() if key not in PAIR}
    rest_u = {key: values for key, values in uncertainty.items() if key not in PAIR}
    angle_u = np.degrees(u / np.maximum(size, 1e-300))
    return (
        {**rest, magnitude: size, "phase": np.degrees(np.angle(parts))},
        {**rest_u, magnitude: u, "phase": angle_u},
    )


def _refused(rows: Rows, wrong: dict[int, Fault], name: str) -> UserError:
    """The faults of a table that lacks too many values: the first are listed."""
    faults = [Fault(name, problem, "a row of the table") for problem in rows.left_out]
    faults += [wrong[row] for row in sorted(wrong)]
    more = f", the first {MAX_LISTED} listed here" if len(faults) > MAX_LISTED else ""
    what = f"{name} can't be read: {counted(len(faults), 'row')} without a value{more}"
    return UserError(what, faults[:MAX_LISTED])


def _left_out(fault: Fault, name: str) -> str:
    return f"{fault.where.removeprefix(f'{name}, ')}: {fault.found}"


def _remark(problems: Sequence[str]) -> str | None:
    """Which rows were left out, and why, in one clause; None where none was."""
    if not problems:
        return None
    # A semicolon parts one remark from the next.
    some = ", ".join(problems[:MAX_LISTED]).replace(";", ",")
    more = f" and {len(problems) - MAX_LISTED} more" if len(problems) > MAX_LISTED else ""
    return f"{counted(len(problems), 'row')} of the table left out ({some}{more})"


def _expected(number: float, above_zero: bool) -> str:
    if not math.isfinite(number):
        return "a finite number"
    return "a number above 0" if above_zero and number <= 0 else "a number that can be measured"
