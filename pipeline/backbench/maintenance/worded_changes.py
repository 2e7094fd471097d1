"""What differs between two versions of a TOML file, in words and with units."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

from backbench.quantities.writing import exact

UNITS = {
    "hz": "Hz", "w": "W", "ohm": "ohm", "vrms": "V", "v": "V", "percent": "%", "db": "dB",
    "s": "s", "dbfs": "dBFS",
}  # fmt: skip
"""The unit of a key, by what it ends in."""
NAMED_BY = ("key", "file", "origin", "metric", "since")
Flat = dict[str, Any]


def worded_changes(old: Any, new: Any) -> Iterator[str]:
    """A line for each value that changed; an entry that came or went is one line."""
    before, after = _flat(old), _flat(new)
    entries_before, entries_after = _entries(old), _entries(new)
    gone, come = entries_before - entries_after, entries_after - entries_before
    for entries, verb in ((gone, "taken out"), (come, "added")):
        yield from (f"{entry} {verb}" for entry in sorted(_outermost(entries)))
    skipped = gone | come
    for key in sorted(before.keys() | after.keys()):
        if any(key.startswith(f"{entry}, ") for entry in skipped):
            continue
        name, unit = _name_and_unit(key)
        was, now = (_text(values.get(key), unit) for values in (before, after))
        if key not in after:
            yield f"{name}: {was} taken out"
        elif key not in before:
            yield f"{name}: {now} added"
        elif before[key] != after[key]:
            yield f"{name}: {was} is now {now}"


def _flat(content: Any, path: str = "") -> Flat:
    """Tables as one level of names; entries of lists go by their own key where they have one.

    So a capture inserted in the middle is one change, not a change of all after it.
    """
    if isinstance(content, dict):
        pairs = ((f"{path}, {key}" if path else key, value) for key, value in content.items())
    elif isinstance(content, list) and content and isinstance(content[0], dict):
        pairs = ((_entry(path, n, item), item) for n, item in enumerate(content, start=1))
    else:
        return {path: content}
    flat: Flat = {}
    for name, value in pairs:
        flat |= _flat(value, name)
    return flat


def _entries(content: Any, path: str = "") -> set[str]:
    """Names of all entries of lists of tables."""
    found: set[str] = set()
    if isinstance(content, dict):
        for key, value in content.items():
            found |= _entries(value, f"{path}, {key}" if path else key)
    elif isinstance(content, list) and content and isinstance(content[0], dict):
        for n, item in enumerate(content, start=1):
            name = _entry(path, n, item)
            found |= {name} | _entries(item, name)
    return found


def _entry(path: str, position: int, item: dict[str, Any]) -> str:
    named = (str(item[key]).split(":", 1)[0] for key in NAMED_BY if key in item)
    return f"{path} {next(named, position)}" + (f" ({item['range']})" if "range" in item else "")


def _outermost(entries: set[str]) -> set[str]:
    return {one for one in entries if not any(one.startswith(f"{other}, ") for other in entries)}


def _name_and_unit(key: str) -> tuple[str, str | None]:
    """generator_vrms as "generator" in volts; a key without a unit with its words apart."""
    head, comma, last = key.rpartition(", ")
    stem, _, ending = last.rpartition("_")
    unit = UNITS.get(ending) if stem else None
    if last.isdigit():
        last, unit = f"track {last}", "V" if "volts_" in head else None
    words = stem if unit and stem else last
    return f"{head.replace('_', ' ')}{comma}{words.replace('_', ' ')}", unit


def _text(value: Any, unit: str | None) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return exact(float(value), unit) if unit else f"{value}"
    if isinstance(value, list):
        return ", ".join(_text(part, unit) for part in value)
    if isinstance(value, dt.date) or value is None:
        return str(value)
    return f"“{value}”"
