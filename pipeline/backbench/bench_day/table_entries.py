"""Manifest entries for tables that the manifest doesn't name, from their headings and values."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from backbench.bench_day.classify_trace import ANY, shown_by
from backbench.bench_day.manifest_entries import Suggestion
from backbench.bench_day.preamble import CountedTime, counted_time
from backbench.bench_day.table_data import even_steps, multiples, strongest_hz
from backbench.bench_day.table_headings import (
    FILL_IN,
    column,
    columns_of,
    declared_unit,
    fitting_kinds,
    two_voltages,
)
from backbench.documents.stimuli import Table
from backbench.errors import UserError
from backbench.quantities.counts import counted
from backbench.quantities.writing import in_text
from backbench.readers.delimited import first_lines, read_delimited, text_layout
from backbench.readers.text_encoding import ENDINGS
from backbench.readers.text_layout import Heading, NoTable, TextLayout
from backbench.signal.track import Array

OF_WHAT = "FILL IN: the frequency of the sine, Hz"
Outputs = Sequence[tuple[str, str]]
"""Unit and output of everything that a review measures."""


def table_entries(
    folder: Path, named: Collection[str], outputs: Outputs = ()
) -> tuple[list[Suggestion], list[tuple[str, str]]]:
    """Entries for the tables of a folder, and tables that give none, each with the reason.

    named: files that have an entry already. A text without rows of numbers is no table.
    """
    suggestions, unknown = [], []
    for path in sorted(folder.rglob("*")):
        file = path.relative_to(folder).as_posix()
        if file in named or path.suffix.lower() not in ENDINGS or not path.is_file():
            continue
        try:
            lines = first_lines(path, file)
            layout = text_layout(lines, file)
            table = table_entry(layout, counted_time(lines[: layout.first], layout))
            if not isinstance(table, str):
                table = _by_values(table, path, file, layout)
        except NoTable:
            continue
        except UserError as error:
            unknown.append((file, f"a table that can't be read: {error.faults[0].found}"))
            continue
        if isinstance(table, str):
            unknown.append((file, table))
            continue
        entry: dict[str, object] = {"file": file, "of": _of(file, outputs), "stimulus": table}
        ready = "FILL IN" not in str(entry)
        suggestions.append(Suggestion(file, entry, ready, f"recognised: {description(layout)}"))
    return suggestions, unknown


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


def description(layout: TextLayout) -> str:
    """What was worked out of a text, in words."""
    parted = {"\t": "tabs", ";": "semicolons", ",": "commas", "|": "bars", " ": "spaces"}
    sign = ", decimal commas" if layout.decimal == "," else ""
    return (
        f"a table of {counted(layout.width, 'column')} from line {layout.first + 1} on, parted "
        f"by {parted[layout.separator]}{sign}"
    )


def table_entry(layout: TextLayout, counted: CountedTime | None = None) -> dict[str, Any] | str:
    """The stimulus of an entry, what can't be known marked for the reviewer; or why none.

    counted: the time of a trace as the lines above the table state it.
    """
    if counted is not None and layout.width == 1:
        return _trace_of_one_column(layout.headings[0], counted)
    if not layout.headed:
        return (
            f"{description(layout)}, without headings: declare what its columns are, by number, "
            "with their units"
        )
    kinds = fitting_kinds(layout.headings)
    if not kinds and (pair := two_voltages(layout.headings)) is not None:
        return _trace_of_two(layout.headings, *pair)
    if len(kinds) != 1:
        return f"{description(layout)}{_asked([*kinds], counted)}"
    ((kind, columns),) = kinds.items()
    return {"table": kind, **_of_a_tone(kind, columns), "columns": columns}


def _asked(kinds: list[str], counted: CountedTime | None) -> str:
    """What is to be declared where the headings tell no kind of table, or several."""
    if kinds:
        return f": {' or '.join(kinds)}? Declare which it is"
    if counted is not None:
        apart = in_text(counted.increment, counted.unit or "")
        return (
            f", each row {apart} after the one before it: declare the time with start, increment "
            "and unit, and which column is the voltage"
        )
    return (
        ": its headings don't say whether it is a response, an impedance, a trace or distortion "
        "(THD or THD+N)"
    )


def _of_a_tone(kind: str, columns: dict[str, object]) -> dict[str, object]:
    if kind == "trace":
        return {"tone_hz": ANY}
    wanted = kind == "harmonics" or (kind == "distortion" and "frequency" not in columns)
    return {"tone_hz": OF_WHAT} if wanted else {}


def _trace_of_one_column(heading: Heading, counted: CountedTime) -> dict[str, Any]:
    """The trace of a file whose one column holds the voltage."""
    time = {"start": counted.start, "increment": counted.increment,
            "unit": counted.unit or FILL_IN}  # fmt: skip
    known = heading.unit and declared_unit(heading.unit, "trace", "voltage")
    place: dict[str, object] = {"name": heading.text} if heading.text else {"number": 1}
    columns = {"time": time, "voltage": {**place, "unit": known or FILL_IN}}
    return {"table": "trace", "tone_hz": ANY, "columns": columns}


def _trace_of_two(headings: Sequence[Heading], time: int, volts: list[int]) -> dict[str, Any]:
    """The trace of a file with two voltages, of which the reviewer says which is the output."""
    names = " or ".join(repr(headings[k].text) for k in volts)
    first, second = (column(headings, k, "trace", "voltage") for k in volts)
    columns = {
        "time": column(headings, time, "trace", "time"),
        "voltage": {**first, "name": f"FILL IN: the output, {names}"},
        "generator": {**second, "name": "FILL IN: the generator, or take this column out"},
    }
    return {"table": "trace", "tone_hz": ANY, "columns": columns}


def _by_values(
    table: dict[str, Any], path: Path, file: str, layout: TextLayout
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
        return _response_or_lines(table, _values(table, path, file), layout)
    return table


def _values(table: dict[str, Any], path: Path, file: str) -> dict[str, Array]:
    stimulus = Table.model_validate({"table": table["table"], "columns": table["columns"]})
    return read_delimited(path, file, stimulus).columns


def _response_or_lines(
    table: dict[str, Any], values: dict[str, Array], layout: TextLayout
) -> dict[str, Any] | str:
    """A response, a spectrum, or a question where the table may be another than it says."""
    hz, level = values["frequency"], values["level"]
    unit = table["columns"]["level"]["unit"]
    decibels = level if unit.startswith("dB") else 20 * np.log10(np.maximum(level, 1e-300))
    order = np.argsort(hz, kind="stable")
    if even_steps(hz[order]):
        tone = strongest_hz(hz[order], decibels[order])
        spectrum = columns_of(layout.headings, "spectrum")
        if tone is None or spectrum is None:
            return f"{description(layout)}: response or spectrum? Declare which it is"
        return {"table": "spectrum", "tone_hz": tone, "columns": spectrum}
    if multiples(hz):
        return f"{description(layout)}: response or harmonics? Declare which it is"
    return table
