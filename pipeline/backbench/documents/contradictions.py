"""Statements of a manifest that can't all be true."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Protocol

from backbench.documents.unit_facts import FigureConditions, Unit
from backbench.errors import Fault
from backbench.quantities.writing import exact

_DATES = "correct the year, or the review's date"


class OutputRole(Protocol):
    """What a track carries."""

    unit: str | None
    output: str | None


def track_faults(roles: Mapping[str, OutputRole], where: str) -> Iterator[Fault]:
    """A track stated twice ("1" and "01"), or one output on two tracks."""
    by_number, by_output = defaultdict(list), defaultdict(list)
    for position, role in roles.items():
        if position.isascii() and position.isdigit():
            by_number[int(position)].append(position)
        if role.output is not None:
            by_output[(role.unit, role.output)].append(position)
    for number, positions in by_number.items():
        if len(positions) > 1:
            spellings = " and ".join(positions)
            yield Fault(where, f"track {number} as {spellings}", "each track once", "keep one")
    for (unit, output), positions in by_output.items():
        if len(positions) > 1:
            of = f" of {unit!r}" if unit else ""
            tracks = " and ".join(positions)
            yield Fault(
                where, f"output {output!r}{of} on the tracks {tracks}", "one track for an output",
                "name the other output",
            )  # fmt: skip


def unit_faults(unit: Unit, reviewed: date, where: str) -> Iterator[Fault]:
    """Years that run backwards, or that lie after the review."""
    first, last = unit.made_range
    if first is not None and last is not None and first > last:
        yield Fault(
            f"{where}, made", f"from {first} to {last}", "the earlier year first",
            f"write [{last}, {first}]",
        )  # fmt: skip
    elif first is not None and first > reviewed.year:
        yield Fault(
            f"{where}, made", f"{first}, after the review of {reviewed}",
            f"a year up to {reviewed.year}", _DATES,
        )  # fmt: skip
    price = unit.list_price
    if price is not None and price.year > reviewed.year:
        yield Fault(
            f"{where}, list_price.year", f"{price.year}, after the review of {reviewed}",
            f"a year up to {reviewed.year}", _DATES,
        )  # fmt: skip


def band_faults(at: FigureConditions, where: str) -> Iterator[Fault]:
    """A band whose upper end stands first."""
    if at.band_hz is not None and at.band_hz[0] >= at.band_hz[1]:
        low, high = (exact(hertz, "1") for hertz in at.band_hz)
        yield Fault(
            f"{where}, band_hz", f"from {low} Hz to {high} Hz", "the lower end first",
            f"write [{high}, {low}]" if high != low else "give both ends",
        )  # fmt: skip
