"""Whom a unit is compared with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from backbench.documents.kinds import kinds_with_a_tuner
from backbench.errors import Fault, UserError
from backbench.quantities.counts import counted
from backbench.querying.saved_queries import not_found
from backbench.statistics.ranks import FEWEST_OTHERS
from backbench.storage.database import Database
from backbench.test_points.points import is_of_a_tuner

Row = Mapping[str, Any]
DEFAULT = ("technology", "kind_group")
CHOOSABLE = (
    "technology", "kind", "kind_group", "topology", "decade", "power_class", "maker", "model",
    "state", "made_first", "rated_power_w",
)  # fmt: skip
EVERYONE = "everything"
PLAIN_COLUMNS = ("technology", "kind", "kind_group")
"""Columns whose values say by themselves what they are."""


@dataclass(frozen=True)
class Peers:
    """The chosen units, the unit itself among them.

    description: the choice in words. note: what a reader should know of it, "" where nothing.
    chosen: whether the reviewer chose, or this is the default. with_a_tuner: peers in what the
    tuner of a unit gives, whatever else the units are.
    """

    keys: tuple[str, ...]
    description: str
    note: str
    chosen: bool = False
    with_a_tuner: tuple[str, ...] = ()

    def at(self, point_key: str) -> tuple[str, ...]:
        """Keys of the units that are peers at a test point."""
        return self.with_a_tuner or self.keys if is_of_a_tuner(point_key) else self.keys


class Units:
    """Every unit of a catalogue in order of its key, by column: what peers are chosen by."""

    def __init__(self, columns: Mapping[str, Sequence[Any]]) -> None:
        self.columns = columns

    @property
    def keys(self) -> Sequence[str]:
        return self.columns["unit_key"]

    def by_key(self, column: str) -> dict[str, Any]:
        """What a column says of each unit."""
        return dict(zip(self.keys, self.columns[column], strict=True))

    def one(self, unit_key: str) -> Row:
        """One of them. Raises UserError, with near keys, if it isn't there."""
        if unit_key not in self.keys:
            raise _unknown(unit_key, self.keys)
        place = self.keys.index(unit_key)
        return {name: column[place] for name, column in self.columns.items()}


def _unknown(unit_key: str, keys: Sequence[str]) -> UserError:
    return UserError("no such unit", [not_found("unit", unit_key, keys, "unit")])


UNIT_KEYS = "SELECT DISTINCT unit_key FROM appearance ORDER BY 1"


def refuse_unknown(store: Database, unit_key: str) -> None:
    """Raises UserError, with near keys, for a unit that isn't there."""
    keys = [str(key) for (key,) in store.rows(UNIT_KEYS)]
    if unit_key not in keys:
        raise _unknown(unit_key, keys)


FACTS = (
    "unit_key", "label", *CHOOSABLE, "review_key", "reviewed", "reviews", "price_amount",
    "price_currency", "price_year",
)  # fmt: skip


def all_units(store: Database) -> Units:
    """Every unit, with what peers are chosen by."""
    rows = store.rows(f"SELECT {', '.join(FACTS)} FROM peer ORDER BY unit_key")
    return Units(
        dict(zip(FACTS, zip(*rows, strict=True) if rows else ((),) * len(FACTS), strict=True))
    )


def choose(units: Units, unit: Row, by: Sequence[str] | None = None) -> Peers:
    """The peers of a unit among all.

    by: columns in which peers must equal the unit ("decade"), or columns with a value of their
        own ("technology=tube", "decade=1960"); ("everything",) for the whole catalogue. By
        default the same technology and the same group of kinds, as `documents/kinds.py` and
        the settings declare them.
    Raises UserError where a column is unknown.
    """
    wanted = {} if by and list(by) == [EVERYONE] else _wanted(unit, by or DEFAULT, units)
    keys = tuple(_matching(units, wanted, str(unit["unit_key"])))
    description = (
        ", ".join(_criterion(name, value) for name, value in wanted.items()) or "every unit"
    )
    note = _note(len(keys) - 1)
    tuners = () if by else tuple(_with_a_tuner(units, unit))
    return Peers(keys, description, note, chosen=bool(by), with_a_tuner=tuners)


def _with_a_tuner(units: Units, unit: Row) -> list[str]:
    """Units of the same technology that are tuners or have one; none where this unit isn't."""
    kinds = kinds_with_a_tuner()
    if unit["kind"] not in kinds:
        return []
    among = zip(units.keys, units.columns["kind"], units.columns["technology"], strict=True)
    return [key for key, kind, made in among if kind in kinds and made == unit["technology"]]


def _values(units: Units, name: str) -> list[str]:
    return sorted({str(value) for value in units.columns[name] if value is not None})


def _wanted(unit: Row, by: Sequence[str], units: Units) -> dict[str, str | None]:
    faults = []
    wanted: dict[str, str | None] = {}
    for choice in by:
        name, given, value = (part.strip() for part in choice.partition("="))
        if name not in CHOOSABLE:
            faults.append(Fault("peers", repr(name), f"one of {', '.join(CHOOSABLE)}"))
            continue
        own = unit[name]
        wanted[name] = value if given else None if own is None else str(own)
        if given and value not in (known := _values(units, name)):
            faults.append(not_found(f"peers, {name}", value, known, f"{name.replace('_', ' ')}"))
    if faults:
        raise UserError("peers can't be chosen", faults)
    return wanted


def _matching(units: Units, wanted: Mapping[str, str | None], unit_key: str) -> list[str]:
    chosen = set(units.keys)
    for name, wanted_value in wanted.items():
        values = zip(units.keys, units.columns[name], strict=True)
        chosen &= {key for key, v in values if (None if v is None else str(v)) == wanted_value}
    return sorted({*chosen, unit_key})


def _criterion(name: str, value: str | None) -> str:
    words = name.replace("kind_group", "kind").replace("_", " ")
    if value is None:
        return f"{words} not stated"
    return value if name in PLAIN_COLUMNS else f"{words} {value}"


def _note(others: int) -> str:
    if others == 0:
        return "no peers: there is nothing to compare with"
    if others < FEWEST_OTHERS:
        few = f"only {counted(others, 'peer')}"
        return f"{few}; a rank or percentile takes {FEWEST_OTHERS}: none is given"
    return ""
