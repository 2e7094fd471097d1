"""Manifest entries for tables that the manifest doesn't name, from their headings and values."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from backbench.bench_day.classify_trace import ANY, shown_by
from backbench.bench_day.manifest_entries import Suggestion
from backbench.bench_day.preamble import CountedTime
from backbench.bench_day.probe_factor import with_question
from backbench.bench_day.table_contents import TableContents, table_contents
from backbench.bench_day.table_data import even_steps, fundamental_hz, multiples, strongest_hz
from backbench.bench_day.table_headings import (
    FILL_IN,
    column,
    columns_by_output,
    columns_of,
    fitting_kinds,
    several_levels,
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
            suggestions += _entries_of(path, file, outputs)
        except _NoEntry as reason:
            unknown.append((file, str(reason)))
        except UserError as error:
            unknown.append((file, f"a table that can't be read: {_fault(error, file)}"))
        except OSError as error:
            unknown.append((file, reason_of(error)))
    return suggestions, unknown


class _NoEntry(Exception):
    """Why a table gives no entry."""


def _entries_of(path: Path, file: str, outputs: Outputs) -> list[Suggestion]:
    """The entry of a file, or one for each output that columns of its own name."""
    held = table_contents(path, file)
    if held is None:
        return []
    if isinstance(held, str):
        raise _NoEntry(held)
    entries = []
    for of, part in _by_output(held, file, outputs):
        table = table_entry(part)
        if not isinstance(table, str):
            table = _by_values(table, path, file, part)
        if isinstance(table, str):
            raise _NoEntry(table)
        stimulus = with_question(table, part.probe)
        entry: dict[str, object] = {"file": file, "of": of, "stimulus": stimulus}
        ready = "FILL IN" not in str(entry)
        entries.append(Suggestion(file, entry, ready, f"recognised: {held.description}"))
    return entries


def _by_output(
    held: TableContents, file: str, outputs: Outputs
) -> list[tuple[dict[str, object], TableContents]]:
    """The file's contents, or those for each output, with unit and output."""
    named = columns_by_output(held.headings, outputs)
    if not named:
        return [(_of(file, outputs), held)]
    return [
        ({"unit": unit, "output": output}, replace(held, headings=headings))
        for (unit, output), headings in named.items()
    ]


def _fault(error: UserError, file: str) -> str:
    """The first fault in one line, without the file's name."""
    fault = error.faults[0]
    place = fault.where.removeprefix(file).strip(", ")
    text = f"{place}: {fault.found}" if place else fault.found
    return f"{text}; {fault.remedy or f'expected {fault.expected}'}"


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
    if held.time is not None and held.time.unit == "Hz":
        return (
            f"{held.description}, each row {in_text(held.time.increment, 'Hz')} after the one "
            "before it: response or spectrum? Declare which it is, with start, increment and unit "
            "of the frequency"
        )
    if held.time is not None and len(held.headings) == 1:
        return _trace_of_one(held.headings, 0, held.time)
    if not held.headed:
        return f"{held.description}{_without_headings(len(held.headings))}"
    kinds = fitting_kinds(held.headings)
    if not kinds:
        return _of_no_kind(held)
    if len(kinds) > 1:
        return f"{held.description}: {' or '.join(kinds)}? Declare which it is"
    ((kind, columns),) = kinds.items()
    return {"table": kind, **_of_a_tone(kind, columns), "columns": columns}


def _without_headings(columns: int) -> str:
    if columns == 1:
        return (
            ", without a heading: declare its column by number, with its unit, and the time or the "
            "frequency by start and increment"
        )
    return ", without headings: declare what its columns are, by number, with their units"


def _of_no_kind(held: TableContents) -> dict[str, Any] | str:
    """The trace of a file with several voltages or none of time; or what is to be declared."""
    pair = two_voltages(held.headings)
    if pair is not None:
        time, volts = pair
        return _trace_of_two(held.headings, column(held.headings, time, "trace", "time"), volts)
    if held.time is not None:
        return _trace_by_start(held, held.time)
    several = several_levels(held.headings)
    if several:
        names = " or ".join(map(repr, several))
        return f"{held.description}: {names}? Write an entry for each output"
    return (
        f"{held.description}: its headings don't say whether it is a response, an impedance, a "
        "trace or distortion (THD or THD+N)"
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
    values = _values(table, path, file)
    if table["table"] == "trace":
        order = np.argsort(values["time"], kind="stable")
        shown = shown_by(values["time"][order], values["voltage"][order])
        return {"table": "trace", **shown, "columns": table["columns"]}
    if table["table"] == "response" and table["columns"].keys() == {"frequency", "level"}:
        return _response_or_lines(table, values, held)
    if table["table"] == "harmonics" and (tone := fundamental_hz(values)) is not None:
        return {**table, "tone_hz": tone}
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
