"""Which column of a table holds which quantity, from the headings and their units."""

from __future__ import annotations

import re
from collections.abc import Sequence

from backbench.quantities.units import spelled_unit
from backbench.readers.table_columns import NEEDED, ONE_OF, PAIR, UNITS
from backbench.readers.text_layout import Heading

WORDS = {
    "frequency": r"freq\w*|f|hertz|hz",
    "generator": r"gen\w*|source|emf|in(put)?|v ?in",
    "time": r"time|t|seconds?",
    "real": r"(.+ )?re(al)?( part)?|r|resistance",
    "imaginary": r"(.+ )?im(ag\w*)?( part)?|x|reactance",
    "phase": r"phase|phi|angle|arg|deg(rees)?",
    "magnitude": r"impedance|magnitude|\|?z\|?|ohms?",
    "level": r"level|gain|response|magnitude|ampl\w*|out(put)?( level)?|db|volts?|v(rms|out)?"
    r"|ch\w*",
    "voltage": r"volt\w*|v|ch\w* ?\d*|input|out(put)?|value",
    "power": r"(output )?power|p( ?out)?|watts?",
    "thd": r"thd|total harmonic distortion|harmonic distortion",
    "thd_n": r"thd ?(\+|and|&|plus)? ?n(oise)?|distortion ?(\+|and|&) ?noise",
    "order": r"order|harmonic( (no|number|order))?|component|n",
}
"""Words that a heading uses for a quantity, whole, in small letters."""
BY_WORD = (*PAIR, "generator", "thd", "thd_n", "order")
"""Quantities that their unit alone doesn't tell from others."""
KINDS = ("impedance", "response", "trace", "distortion", "harmonics")
FILL_IN = "FILL IN: the unit of this column"


def fitting_kinds(headings: Sequence[Heading]) -> dict[str, dict[str, object]]:
    """The columns of every kind of table that the headings may be of.

    Where the units of one kind are all there, only kinds of which that holds; then only those that
    make use of the most columns.
    """
    found = {kind: columns for kind in KINDS if (columns := columns_of(headings, kind))}
    if "order" not in found.get("harmonics", {}):
        # Levels by frequency are a response unless their values say otherwise.
        found.pop("harmonics", None)
    sure = {kind: columns for kind, columns in found.items() if FILL_IN not in str(columns)}
    kept = sure or found
    most = max(map(len, kept.values()), default=0)
    return {kind: columns for kind, columns in kept.items() if len(columns) == most}


def columns_of(headings: Sequence[Heading], kind: str) -> dict[str, object] | None:
    """The columns of a table of a kind; None where one that it needs isn't there, or twice."""
    needed = NEEDED[kind]
    places: dict[str, int] = {}
    taken: set[int] = set()
    for key in UNITS[kind]:
        hits = [k for k, h in enumerate(headings) if k not in taken and _is_of(h, kind, key)]
        if _one_quantity(headings, hits):
            hits = hits[:1]
        if needed[1:] and key == needed[1]:
            # The generator's column is in volts too: it is the output only where it stands alone.
            hits = [k for k in hits if not worded(headings[k], "generator")] or hits
            parts = [k for k in hits if any(worded(headings[k], part) for part in PAIR)]
            hits = [k for k in hits if k not in parts] if len(parts) == len(PAIR) else hits
        if len(hits) == 1 or (hits and key in needed[:1]):
            places[key] = hits[0]
            taken.add(hits[0])
        elif len(hits) > 1 and key in needed:
            return None
    if not _complete(kind, places):
        return None
    if needed[1:] and needed[1] in places:
        places = {key: k for key, k in places.items() if key not in PAIR}
    return {key: column(headings, k, kind, key) for key, k in places.items()}


def _one_quantity(headings: Sequence[Heading], hits: Sequence[int]) -> bool:
    """Whether columns have one name and differ in their units alone."""
    names = {headings[k].name.casefold() for k in hits}
    units = {headings[k].unit for k in hits}
    return len(hits) > 1 and len(names) == 1 and len(units) == len(hits) and "" not in names


def several_levels(headings: Sequence[Heading]) -> list[str]:
    """Columns of which each may be the level or the magnitude over the one frequency; else none."""
    for kind in ("response", "impedance"):
        frequency, main = NEEDED[kind]
        across = [k for k, h in enumerate(headings) if _is_of(h, kind, frequency)]
        hits = [k for k, h in enumerate(headings) if k not in across and _is_of(h, kind, main)]
        if len(across) == 1 and len(hits) > 1:
            return [headings[k].text for k in hits]
    return []


def columns_by_output(
    headings: Sequence[Heading], outputs: Sequence[tuple[str, str]]
) -> dict[tuple[str, str], tuple[Heading, ...]]:
    """Headings for each output that some name, those of the other outputs emptied.

    outputs: unit and output. Empty where fewer than two outputs are named, or one of two units.
    """
    places = {
        one: {k for k, h in enumerate(headings) if one[1].lower() in _words(h.name)}
        for one in outputs
    }
    places = {one: own for one, own in places.items() if own}
    named = set().union(*places.values())
    if len(places) < 2 or sum(map(len, places.values())) > len(named):
        return {}
    return {
        one: tuple(h if k in own or k not in named else Heading("") for k, h in enumerate(headings))
        for one, own in places.items()
    }


def _words(text: str) -> set[str]:
    return {*re.split(r"[\W_]+", text.lower())}


def _complete(kind: str, places: dict[str, int]) -> bool:
    needed = NEEDED[kind]
    lacking = [key for key in needed if key not in places]
    paired = len(needed) > 1 and lacking == [needed[1]] and places.keys() >= {*PAIR}
    chosen = all(places.keys() & {*keys} for keys in ONE_OF.get(kind, ()))
    return chosen and (not lacking or paired)


def two_voltages(headings: Sequence[Heading]) -> tuple[int, list[int]] | None:
    """Columns of a trace's time and of the two voltages that it has; None for other tables."""
    times = [k for k, h in enumerate(headings) if _is_of(h, "trace", "time")]
    volts = [k for k in voltages(headings) if k not in times]
    return (times[0], volts) if len(times) == 1 and len(volts) == 2 else None


def voltages(headings: Sequence[Heading]) -> list[int]:
    """Columns that may hold the voltage of a trace."""
    return [k for k, heading in enumerate(headings) if _is_of(heading, "trace", "voltage")]


def _is_of(heading: Heading, kind: str, key: str) -> bool:
    """Whether a column may hold a quantity: its unit is one of it, or a word without a unit."""
    if heading.unit:
        known = declared_unit(heading.unit, kind, key) is not None
        return known and (key not in BY_WORD or worded(heading, key))
    return worded(heading, key)


def worded(heading: Heading, key: str) -> bool:
    """Whether a heading uses a word for a quantity."""
    plain = re.sub(r"[_\-.:#]+", " ", heading.name.lower()).strip()
    return re.fullmatch(WORDS[key], plain) is not None


def declared_unit(text: str, kind: str, key: str) -> str | None:
    """The unit as a manifest declares it; None where the quantity has no such unit."""
    if text in UNITS[kind][key]:
        return text
    spelled = spelled_unit(text)
    return next((u for u in UNITS[kind][key] if spelled and spelled_unit(u) == spelled), None)


def column(headings: Sequence[Heading], k: int, kind: str, key: str) -> dict[str, object]:
    """A column as a manifest declares it; a unit that isn't stated is to be filled in."""
    text, unit = headings[k].text, headings[k].unit
    once = sum(heading.text == text for heading in headings) == 1
    place: dict[str, object] = {"name": text} if once and text else {"number": k + 1}
    only = UNITS[kind][key] if len(UNITS[kind][key]) == 1 else ()
    return {**place, "unit": (unit and declared_unit(unit, kind, key)) or next(iter(only), FILL_IN)}
