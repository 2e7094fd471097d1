"""Manifest entries for tables that the manifest doesn't name, from their headings and values."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from backbench.bench_day.classify_trace import ANY, shown_by
from backbench.bench_day.manifest_entries import Suggestion
from backbench.bench_day.preamble import CountedTime
from backbench.bench_day.table_contents import TableContents, table_contents
from backbench.bench_day.table_data import even_steps, multiples, strongest_hz
from backbench.bench_day.table_headings import (
    FILL_IN,
    column,
    columns_of,
    fitting_kinds,
    two_voltages,
    voltages,
)
from backbench.documents.regular_files import reason_of
from backbench.documents.stimuli import Table
from backbench.errors import UserError
from backbench.quantities.writing import in_text
from backbench.readers.file_formats import read_table
from backbench.readers.text_layout import Heading
from backbench.signal.track import Array

OF_WHAT = "FILL IN: the frequency of the sine, Hz"
Outputs = Sequence[tuple[str, str]]
"""Unit and output of everything that a review measures."""


def table_entries(
    folder: Path, named: Collection[str], outputs: Outputs = ()
) -> tuple[list[Suggestion], list[tuple[str, str]]]:
    """Entries for the tables of a folder, and tables that give none, each with the reason.

    named: files that have an entry already. A text without rows of numbers is no table; of a file
    of arrays the columns of one length are.
    """
    suggestions, unknown = [], []
    for path in sorted(folder.rglob("*")):
        file = path.relative_to(folder).as_posix()
        if file in named or not path.is_file():
            continue
        try:
            held = table_contents(path, file)
            if held is None:
                continue
            table = held if isinstance(held, str) else _table_in(held, path, file)
        except UserError as error:
            unknown.append((file, f"a table that can't be read: {error.faults[0].found}"))
            continue
        except OSError as error:
            unknown.append((file, reason_of(error)))
            continue
        if isinstance(held, str) or isinstance(table, str):
            unknown.append((file, str(table)))
            continue
        entry: dict[str, object] = {"file": file, "of": _of(file, outputs), "stimulus": table}
        ready = "FILL IN" not in str(entry)
        suggestions.append(Suggestion(file, entry, ready, f"recognised: {held.description}"))
    return suggestions, unknown


def _table_in(held: TableContents, path: Path, file: str) -> dict[str, Any] | str:
    """The stimulus of a file's entry, or why none: from its headings, then from its values."""
    table = table_entry(held)
    return table if isinstance(table, str) else _by_values(table, path, file, held)


def _of(file: str, outputs: Outputs) -> dict[str, object]:
    """Unit and output of a table: the only one there is, or the one that its name names."""
    words = {*Path(file).stem.lower().replace("_", "-").replace(" ", "-").split("-")}
    named = [(unit, output) for unit, output in outputs if output.lower() in words]
    for chosen in (named, outputs):
        if len(chosen) == 1:
            return {"unit": chosen[0][0], "output": chosen[0][1]}
    units = sorted({unit for unit, _ in outputs})
    names = " or ".join(dict.fromkeys(output for _, output in outputs))
    unit = units[0] if len(units) == 1 else f"FILL IN: {' or '.join(units) or 'the unit'}"
    return {"unit": unit, "output": f"FILL IN: {names or 'the output'}"}


def table_entry(held: TableContents) -> dict[str, Any] | str:
    """The stimulus of an entry, what can't be known marked for the reviewer; or why none."""
    if held.time is not None and len(held.headings) == 1:
        return _trace_of_one(held.headings, 0, held.time)
    if not held.headed:
        return (
            f"{held.description}, without headings: declare what its columns are, by number, "
            "with their units"
        )
    kinds = fitting_kinds(held.headings)
    if not kinds and (pair := two_voltages(held.headings)) is not None:
        time, volts = pair
        return _trace_of_two(held.headings, column(held.headings, time, "trace", "time"), volts)
    if not kinds and held.time is not None:
        return _trace_by_start(held, held.time)
    if len(kinds) != 1:
        return f"{held.description}{_asked([*kinds])}"
    ((kind, columns),) = kinds.items()
    return {"table": kind, **_of_a_tone(kind, columns), "columns": columns}


def _asked(kinds: list[str]) -> str:
    """What is to be declared where the headings tell no kind of table, or several."""
    if kinds:
        return f": {' or '.join(kinds)}? Declare which it is"
    return (
        ": its headings don't say whether it is a response, an impedance, a trace or distortion "
        "(THD or THD+N)"
    )


def _of_a_tone(kind: str, columns: dict[str, object]) -> dict[str, object]:
    if kind == "trace":
        return {"tone_hz": ANY}
    wanted = kind == "harmonics" or (kind == "distortion" and "frequency" not in columns)
    return {"tone_hz": OF_WHAT} if wanted else {}


def _trace_by_start(held: TableContents, time: CountedTime) -> dict[str, Any] | str:
    """The trace of a file that states its time beside the table; or what is to be declared."""
    volts = voltages(held.headings)
    if len(volts) == 1:
        return _trace_of_one(held.headings, volts[0], time)
    if len(volts) == 2:
        return _trace_of_two(held.headings, _by_start(time), volts)
    apart = in_text(time.increment, time.unit or "")
    return (
        f"{held.description}, each row {apart} after the one before it: declare the time with "
        "start, increment and unit, and which column is the voltage"
    )


def _by_start(time: CountedTime) -> dict[str, object]:
    unit = time.unit or FILL_IN
    return {"start": time.start, "increment": time.increment, "unit": unit}


def _trace_of_one(headings: Sequence[Heading], volts: int, time: CountedTime) -> dict[str, Any]:
    """The trace of a file in which one column holds the voltage."""
    columns = {"time": _by_start(time), "voltage": column(headings, volts, "trace", "voltage")}
    return {"table": "trace", "tone_hz": ANY, "columns": columns}


def _trace_of_two(
    headings: Sequence[Heading], time: dict[str, object], volts: list[int]
) -> dict[str, Any]:
    """The trace of a file with two voltages, of which the reviewer says which is the output."""
    names = " or ".join(repr(headings[k].text) for k in volts)
    first, second = (column(headings, k, "trace", "voltage") for k in volts)
    columns = {
        "time": time,
        "voltage": {**first, "name": f"FILL IN: the output, {names}"},
        "generator": {**second, "name": "FILL IN: the generator, or take this column out"},
    }
    return {"table": "trace", "tone_hz": ANY, "columns": columns}


def _by_values(
    table: dict[str, Any], path: Path, file: str, held: TableContents
) -> dict[str, Any] | str:
    """The entry, completed by what the values of the table say."""
    if "FILL IN" in str(table["columns"]):
        return table
    if table["table"] == "trace":
        values = _values(table, path, file)
        order = np.argsort(values["time"], kind="stable")
        shown = shown_by(values["time"][order], values["voltage"][order])
        return {"table": "trace", **shown, "columns": table["columns"]}
    if table["table"] == "response" and table["columns"].keys() == {"frequency", "level"}:
        return _response_or_lines(table, _values(table, path, file), held)
    return table


def _values(table: dict[str, Any], path: Path, file: str) -> dict[str, Array]:
    stimulus = Table.model_validate({"table": table["table"], "columns": table["columns"]})
    return read_table(path, stimulus, file).columns


def _response_or_lines(
    table: dict[str, Any], values: dict[str, Array], held: TableContents
) -> dict[str, Any] | str:
    """A response, a spectrum, or a question where the table may be another than it says."""
    hz, level = values["frequency"], values["level"]
    unit = table["columns"]["level"]["unit"]
    decibels = level if unit.startswith("dB") else 20 * np.log10(np.maximum(level, 1e-300))
    order = np.argsort(hz, kind="stable")
    if even_steps(hz[order]):
        tone = strongest_hz(hz[order], decibels[order])
        spectrum = columns_of(held.headings, "spectrum")
        if tone is None or spectrum is None:
            return f"{held.description}: response or spectrum? Declare which it is"
        return {"table": "spectrum", "tone_hz": tone, "columns": spectrum}
    if multiples(hz):
        return f"{held.description}: response or harmonics? Declare which it is"
    return table
