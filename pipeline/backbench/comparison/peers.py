"""Whom a unit is compared with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from backbench.documents.kinds import kinds_with_a_tuner
from backbench.errors import Fault, UserError
from backbench.quantities.counts import counted
from backbench.querying.saved_queries import not_found
from backbench.statistics.ranks import FEWEST_OTHERS
from backbench.storage.database import Database
from backbench.test_points.points import is_of_a_tuner

if TYPE_CHECKING:
    import polars as pl

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


def unit_in(units: pl.DataFrame, unit_key: str) -> Row:
    """One of all units. Raises UserError, with near keys, if it isn't there."""
    own = units.filter(units["unit_key"] == unit_key)
    if own.is_empty():
        raise _unknown(unit_key, units["unit_key"].to_list())
    return own.row(0, named=True)


def _unknown(unit_key: str, keys: Sequence[str]) -> UserError:
    return UserError("no such unit", [not_found("unit", unit_key, keys, "unit")])


UNIT_KEYS = "SELECT DISTINCT unit_key FROM appearance ORDER BY 1"


def refuse_unknown(store: Database, unit_key: str) -> None:
    """Raises UserError, with near keys, for a unit that isn't there."""
    keys = [str(key) for (key,) in store.rows(UNIT_KEYS)]
    if unit_key not in keys:
        raise _unknown(unit_key, keys)


def all_units(store: Database) -> pl.DataFrame:
    """Every unit, with what peers are chosen by."""
    return store.frame("SELECT * FROM peer ORDER BY unit_key")


def choose(units: pl.DataFrame, unit: Row, by: Sequence[str] | None = None) -> Peers:
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


def _with_a_tuner(units: pl.DataFrame, unit: Row) -> list[str]:
    """Units of the same technology that are tuners or have one; none where this unit isn't."""
    import polars as pl

    kinds = kinds_with_a_tuner()
    if unit["kind"] not in kinds:
        return []
    alike = pl.col("technology").eq_missing(pl.lit(unit["technology"], pl.String))
    return units.filter(pl.col("kind").is_in(kinds), alike)["unit_key"].to_list()


def _values(frame: pl.DataFrame, name: str) -> list[str]:
    return sorted({str(value) for value in frame[name].drop_nulls()})


def _wanted(unit: Row, by: Sequence[str], frame: pl.DataFrame) -> dict[str, str | None]:
    faults = []
    wanted: dict[str, str | None] = {}
    for choice in by:
        name, given, value = (part.strip() for part in choice.partition("="))
        if name not in CHOOSABLE:
            faults.append(Fault("peers", repr(name), f"one of {', '.join(CHOOSABLE)}"))
            continue
        own = unit[name]
        wanted[name] = value if given else None if own is None else str(own)
        if given and value not in (known := _values(frame, name)):
            faults.append(not_found(f"peers, {name}", value, known, f"{name.replace('_', ' ')}"))
    if faults:
        raise UserError("peers can't be chosen", faults)
    return wanted


def _matching(frame: pl.DataFrame, wanted: dict[str, str | None], unit_key: str) -> list[str]:
    import polars as pl

    chosen = frame.with_columns(pl.col(name).cast(pl.String) for name in wanted)
    for name, value in wanted.items():
        chosen = chosen.filter(pl.col(name).eq_missing(pl.lit(value, pl.String)))
    keys = chosen["unit_key"].to_list()
    return sorted({*keys, unit_key})


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
