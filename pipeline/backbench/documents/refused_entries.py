"""Entries of a manifest that are left out, each with all that is wrong with it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from backbench.errors import Fault

Place = tuple[str | int, ...]
"""Where an entry stands, counted from 1: ("capture", 3) or ("unit", 1, "published", 2)."""
PlacedFault = tuple[Place | None, Fault]
"""A fault with the entry that it costs; None where it costs the whole manifest."""

LONGEST_NAME = 200
NAMED_BY = {"capture": "file", "photograph": "file", "entered": "metric", "published": "metric"}
"""The key that names an entry, by the table that it stands in."""


@dataclass(frozen=True)
class RefusedEntry:
    """One entry that is left out. name: its file or metric."""

    place: Place
    name: str
    faults: tuple[Fault, ...]

    @property
    def table(self) -> str:
        """capture, photograph, entered or published."""
        return str(self.place[-2])

    @property
    def position(self) -> int:
        """Its number in that table, from 1."""
        return int(self.place[-1])

    @property
    def reason(self) -> str:
        """All that is wrong with it, in one line."""
        return "; ".join(map(str, self.faults))


def place_of(location: Sequence[str | int]) -> Place | None:
    """The entry that a path through the file (counted from 0) lies in; None where in none."""
    match tuple(location):
        case ("capture" | "photograph" | "entered" as table, int(index), *_):
            return (table, index + 1)
        case ("unit", int(unit), "published", int(index), *_):
            return ("unit", unit + 1, "published", index + 1)
        case _:
            return None


def refused_entries(
    faults: Iterable[PlacedFault], names: Mapping[Place, str]
) -> list[RefusedEntry]:
    """The entries that faults cost, in order. names: of entries, where they have one."""
    by_place: dict[Place, list[Fault]] = {}
    for place, fault in faults:
        if place is not None:
            by_place.setdefault(place, []).append(fault)
    return [
        RefusedEntry(place, names.get(place, f"{place[-2]} {place[-1]}"), tuple(found))
        for place, found in sorted(by_place.items())
    ]


def shown(name: str) -> str:
    """A name as it can stand in a line, whatever was written."""
    return "".join(c if c.isprintable() else "?" for c in name[:LONGEST_NAME]) or "unnamed"


def names_in(content: Mapping[str, Any]) -> dict[Place, str]:
    """File or metric of every entry of a file's tables that has one, whatever else is wrong."""
    tables: dict[Place, Any] = {(table,): content.get(table) for table in NAMED_BY}
    units = content.get("unit")
    for n, unit in enumerate(units if isinstance(units, list) else [], start=1):
        printed = unit.get("published") if isinstance(unit, dict) else None
        tables["unit", n, "published"] = printed
    return {
        (*table, n): shown(entry[key])
        for table, entries in tables.items()
        if isinstance(entries, list)
        for n, entry in enumerate(entries, start=1)
        if isinstance(entry, dict)
        for key in [NAMED_BY[str(table[-1])]]
        if isinstance(entry.get(key), str)
    }
