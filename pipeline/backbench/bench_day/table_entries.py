"""Manifest entries for tables that the manifest doesn't name, from their headings and units."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from pathlib import Path

from backbench.bench_day.manifest_entries import Suggestion
from backbench.bench_day.preamble import CountedTime, counted_time
from backbench.errors import UserError
from backbench.quantities.counts import counted
from backbench.quantities.units import spelled_unit
from backbench.quantities.writing import in_text
from backbench.readers.delimited import first_lines, text_layout
from backbench.readers.table_columns import NEEDED, PAIR, UNITS
from backbench.readers.text_encoding import ENDINGS
from backbench.readers.text_layout import Heading, NoTable, TextLayout

WORDS = {
    "frequency": r"freq\w*|f|hertz|hz",
    "generator": r"gen\w*|source|emf|in(put)?|v ?in",
    "time": r"time|t|seconds?",
    "real": r"re(al)?( part)?",
    "imaginary": r"im(ag\w*)?( part)?",
    "phase": r"phase|phi|angle|arg|deg(rees)?",
    "magnitude": r"impedance|magnitude|\|?z\|?|ohms?",
    "level": r"level|gain|response|magnitude|ampl\w*|out(put)?|db|volts?|v(rms|out)?|ch\w*",
    "voltage": r"volt\w*|v|ch\w* ?\d*|input|out(put)?|value",
}
"""Words that a heading uses for a quantity, whole, in small letters."""
KINDS = ("impedance", "response", "trace")
FILL_IN = "FILL IN: the unit of this column"
WHAT_IT_SHOWS = (
    "FILL IN: the frequency of its sine; or in place of this square_hz, burst_hz with on_ms and "
    "period_ms, or ripple"
)


def table_entries(
    folder: Path, named: Collection[str]
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
        except NoTable:
            continue
        except UserError as error:
            unknown.append((file, f"a table that can't be read: {error.faults[0].found}"))
            continue
        table = table_entry(layout, counted_time(lines[: layout.first], layout))
        if isinstance(table, str):
            unknown.append((file, table))
            continue
        ready = "FILL IN" not in str(table)
        entry: dict[str, object] = {"file": file, "stimulus": table}
        suggestions.append(Suggestion(file, entry, ready, f"recognised: {description(layout)}"))
    return suggestions, unknown


def description(layout: TextLayout) -> str:
    """What was worked out of a text, in words."""
    parted = {"\t": "tabs", ";": "semicolons", ",": "commas", "|": "bars", " ": "spaces"}
    sign = ", decimal commas" if layout.decimal == "," else ""
    return (
        f"a table of {counted(layout.width, 'column')} from line {layout.first + 1} on, parted "
        f"by {parted[layout.separator]}{sign}"
    )


def table_entry(layout: TextLayout, counted: CountedTime | None = None) -> dict[str, object] | str:
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
    fitting = {}
    for kind in KINDS:
        columns = _columns(layout.headings, kind)
        if columns is not None:
            fitting[kind] = columns
    if not fitting and counted is not None:
        apart = in_text(counted.increment, counted.unit or "")
        return (
            f"{description(layout)}, each row {apart} after the one before it: declare the time "
            "with start, increment and unit, and which column is the voltage"
        )
    if not fitting:
        return f"{description(layout)}: its headings don't say whether it is a response, an " \
               "impedance or a trace"  # fmt: skip
    # The kind whose units are all there is meant, where there is one.
    sure = [kind for kind, columns in fitting.items() if FILL_IN not in str(columns)]
    kinds = sure or list(fitting)
    if len(kinds) > 1:
        return f"{description(layout)}: {' or '.join(kinds)}? Declare which it is"
    shows = {"tone_hz": WHAT_IT_SHOWS} if kinds[0] == "trace" else {}
    return {"table": kinds[0], **shows, "columns": fitting[kinds[0]]}


def _trace_of_one_column(heading: Heading, counted: CountedTime) -> dict[str, object]:
    """The trace of a file whose one column holds the voltage."""
    time = {"start": counted.start, "increment": counted.increment,
            "unit": counted.unit or FILL_IN}  # fmt: skip
    known = heading.unit and _declared_unit(heading.unit, "trace", "voltage")
    place: dict[str, object] = {"name": heading.text} if heading.text else {"number": 1}
    columns = {"time": time, "voltage": {**place, "unit": known or FILL_IN}}
    return {"table": "trace", "tone_hz": WHAT_IT_SHOWS, "columns": columns}


def _columns(headings: Sequence[Heading], kind: str) -> dict[str, object] | None:
    """The columns of a table of a kind; None where one that it needs isn't there, or twice."""
    places: dict[str, int] = {}
    taken: set[int] = set()
    for key in UNITS[kind]:
        hits = [k for k, h in enumerate(headings) if k not in taken and _is_of(h, kind, key)]
        if key == NEEDED[kind][1]:
            # The generator's column is in volts too: it is the output only where it stands alone.
            hits = [k for k in hits if not _worded(headings[k], "generator")] or hits
        if len(hits) == 1 or (hits and key == NEEDED[kind][0]):
            places[key] = hits[0]
            taken.add(hits[0])
        elif len(hits) > 1 and key in NEEDED[kind]:
            return None
    along, value = NEEDED[kind]
    if along not in places or (value not in places and not places.keys() >= set(PAIR)):
        return None
    if value in places:
        places = {key: k for key, k in places.items() if key not in PAIR}
    return {key: _column(headings, k, kind, key) for key, k in places.items()}


def _is_of(heading: Heading, kind: str, key: str) -> bool:
    """Whether a column may hold a quantity: its unit is one of it, or a word without a unit."""
    if heading.unit:
        return _declared_unit(heading.unit, kind, key) is not None and (
            key not in (*PAIR, "generator") or _worded(heading, key)
        )
    return _worded(heading, key)


def _worded(heading: Heading, key: str) -> bool:
    plain = re.sub(r"[_\-.:#]+", " ", heading.name.lower()).strip()
    return re.fullmatch(WORDS[key], plain) is not None


def _declared_unit(text: str, kind: str, key: str) -> str | None:
    """The unit as a manifest declares it; None where the quantity has no such unit."""
    if text in UNITS[kind][key]:
        return text
    spelled = spelled_unit(text)
    return next((u for u in UNITS[kind][key] if spelled and spelled_unit(u) == spelled), None)


def _column(headings: Sequence[Heading], k: int, kind: str, key: str) -> dict[str, object]:
    text, unit = headings[k].text, headings[k].unit
    once = sum(heading.text == text for heading in headings) == 1
    place: dict[str, object] = {"name": text} if once else {"number": k + 1}
    return {**place, "unit": (unit and _declared_unit(unit, kind, key)) or FILL_IN}
