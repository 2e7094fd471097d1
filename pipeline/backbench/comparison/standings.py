"""A unit's metrics among its peers: place, percentile, neighbours, and who was left out."""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from backbench.comparison.comparable_values import AskedValues, Comparable, ReadValues
from backbench.comparison.compared_points import preferred
from backbench.comparison.drift import LevelChange, steps
from backbench.comparison.peers import Peers, Units, all_units
from backbench.comparison.stale_figures import MARK, Stale, stale_figures
from backbench.quantities.counts import counted
from backbench.statistics import ranks
from backbench.storage.database import Database

if TYPE_CHECKING:
    from backbench.documents.settings import Settings

Row = Mapping[str, Any]
Absences = Mapping[tuple[str, str], Row]
LIMIT_PERCENT = 1.0
"""The distortion limit at which powers are compared."""
NEIGHBOURS = 3


@dataclass(frozen=True)
class Neighbour:
    """Another unit with its value of one metric."""

    unit_key: str
    label: str
    value: float
    entered: bool


@dataclass(frozen=True)
class Standing:
    """One metric of the unit among its peers, at one test point.

    n: units with a value there, the unit included. rank: first and last place it may hold
    (1 the best); percentile: share of the other units that it is better than; both None where
    no direction is better or fewer than five other units have a value. interpolated: how many of
    the n values were worked out between two steps of a power sweep. left_out: peers without a
    value, by reason. stale: the unit's value was computed before the settings of its bench were
    corrected. session_default: of the spread between sessions only the stated default is known.
    reading_key: the reading that the value is of.
    """

    unit_key: str
    metric: str
    title: str
    unit: str
    better: str
    point_key: str
    point: str
    output: str
    limit_percent: float | None
    value: float
    uncertainty: float | None
    bound: str | None
    status: str
    n: int
    rank: tuple[int, int] | None
    percentile: float | None
    around: tuple[Neighbour, ...]
    left_out: Mapping[str, int]
    note: str = ""
    interpolated: int = 0
    stale: bool = False
    session_default: bool = False
    reading_key: str = ""

    @property
    def place(self) -> str:
        """The rank interval in words: "3rd to 7th of 41"."""
        return ranks.interval_text(*self.rank, self.n) if self.rank else ""

    @property
    def is_placed(self) -> bool:
        """Whether there is a rank, and not nearly any."""
        return self.rank is not None and not ranks.is_open(*self.rank, self.n)


@dataclass(frozen=True)
class NearUnit:
    """A unit that is alike over all shared metrics; distance in robust standard deviations."""

    unit_key: str
    label: str
    distance: float
    shared: int
    alike: tuple[str, ...]
    apart: tuple[str, ...]


@dataclass(frozen=True)
class Common:
    """What every unit is compared with. Read once, it serves any number of comparisons.

    units: every unit, as peers are chosen from. values: the worse output of each unit at every
    place, and what there is of each metric of each unit. stale: figures that are out of date by the
    settings as they are now. steps: of the benches.
    """

    units: Units
    values: Comparable
    stale: Stale
    steps: tuple[LevelChange, ...]


def read_common(store: Database, entered: bool = True, settings: Settings | None = None) -> Common:
    """For many units, from an open store.

    entered: whether typed-in readings of old records take part. settings: of the catalogue, as they
    are now; without them no figure is marked as out of date.
    """
    stale = stale_figures(store, settings) if settings else Stale()
    return Common(all_units(store), ReadValues(store, entered), stale, tuple(steps(store)))


def asked_common(store: Database, entered: bool, stale: Stale) -> Common:
    """The same for one unit: values are asked of the store as they are needed."""
    units = all_units(store)
    return Common(units, AskedValues(store, units, entered), stale, tuple(steps(store)))


def placed(
    common: Common, unit_key: str, chosen: Peers
) -> tuple[tuple[Standing, ...], tuple[NearUnit, ...], list[Row]]:
    """The unit's lines, the units most like it, and the values among peers that they rest on."""
    keys = {*chosen.keys, *chosen.with_a_tuner}
    found = common.values.beside(unit_key, keys)
    rows = preferred([row for row in found if row["unit_key"] == unit_key])
    wanted = {row["what"] for row in rows}
    peers_at = {point: frozenset(chosen.at(point)) for point in {r["point_key"] for r in rows}}
    among = [
        row for row in found
        if row["what"] in wanted and row["unit_key"] in peers_at[row["point_key"]]
    ]  # fmt: skip
    parts: dict[str, list[Row]] = {}
    for row in among:
        parts.setdefault(row["what"], []).append(row)
    absent = common.values.absences(keys)
    lines = tuple(_line(row, parts[row["what"]], chosen, absent, common.stale) for row in rows)
    shared = [row for row in rows if row["limit_percent"] in (None, LIMIT_PERCENT)]
    return lines, _nearest(common, unit_key, shared), among


def _line(
    row: Row, among: Sequence[Row], chosen: Peers, absent: Absences, stale: Stale
) -> Standing:
    keys = [other["unit_key"] for other in among]
    index = keys.index(row["unit_key"])
    rank = percentile = None
    if row["better"] != "neither":
        values = ranks.oriented(
            [r["value"] for r in among],
            [r["own_u"] for r in among],
            row["better"],
            dof=[r["own_dof"] for r in among],
            bound=[r["bound"] for r in among],
            shared=[0.0 if r["shared_u"] is None else r["shared_u"] for r in among],
            source=[r["shared_with"] for r in among],
        )
        rank = ranks.place(values, index)
        percentile = ranks.percentile(values, index) if rank else None
    return Standing(
        unit_key=row["unit_key"],
        metric=row["metric"],
        title=row["title"],
        unit=row["unit"],
        better=row["better"],
        point_key=row["point_key"],
        point=row["point"],
        output=row["output"],
        limit_percent=row["limit_percent"],
        value=row["value"],
        uncertainty=row["uncertainty"],
        bound=row["bound"],
        status=row["status"],
        n=len(keys),
        rank=rank,
        percentile=percentile,
        around=_around(row, among),
        left_out=_left_out(row["metric"], set(chosen.at(row["point_key"])) - set(keys), absent),
        note=", ".join(filter(None, (_note(row, among), _stale_note(row, among, stale)))),
        interpolated=sum(bool(r["interpolated"]) for r in among),
        stale=stale.has(row["review_key"], row["analysis_key"]),
        session_default=bool(row["session_default"]),
        reading_key=row["reading_key"],
    )


def _around(row: Row, among: Sequence[Row]) -> tuple[Neighbour, ...]:
    """The units whose values are nearest, in order of value."""
    others = ((abs(r["value"] - row["value"]), r["unit_key"], i) for i, r in enumerate(among)
              if r["unit_key"] != row["unit_key"])  # fmt: skip
    nearest = (among[i] for _, _, i in heapq.nsmallest(NEIGHBOURS, others))
    near = sorted(nearest, key=lambda r: (r["value"], r["unit_key"]))
    return tuple(
        Neighbour(r["unit_key"], r["label"], r["value"], r["status"] == "entered") for r in near
    )


def _note(row: Row, among: Sequence[Row]) -> str:
    """How many of the values were not measured at the test point itself, and whether this was."""
    entered = sum(r["status"] == "entered" for r in among)
    between = sum(bool(r["interpolated"]) for r in among)
    remarks = [f"{entered} entered, not measured"] if entered else []
    remarks += [f"{between} interpolated in power"] if between else []
    remarks += ["this one among them"] if row["interpolated"] else []
    return ", ".join(remarks)


def _stale_note(row: Row, among: Sequence[Row], stale: Stale) -> str:
    """How many of the values are out of date, and whether this one is."""
    if not stale.analyses:
        return ""
    others = sum(
        stale.has(r["review_key"], r["analysis_key"])
        for r in among
        if r["unit_key"] != row["unit_key"]
    )
    own = stale.has(row["review_key"], row["analysis_key"])
    remarks = [f"out of date: {MARK}"] if own else []
    remarks += [f"{counted(others, 'peer')} {MARK}"] if others else []
    return ", ".join(remarks)


def _left_out(metric: str, missing: set[str], absent: Absences) -> dict[str, int]:
    counts: dict[str, int] = {}
    for key in sorted(missing):
        reason = _reason(absent.get((key, metric)))
        counts[reason] = counts.get(reason, 0) + 1
    return dict(sorted(counts.items()))


def _reason(row: Row | None) -> str:
    if row is None:
        return "not measured"
    if not row["valued"]:
        return "refused a number"
    if not row["current"]:
        return "by another method version"
    return "entered or off the test point" if row["entered"] else "off the test point"


def _nearest(common: Common, unit_key: str, rows: Sequence[Row]) -> tuple[NearUnit, ...]:
    """The nearest units of the whole catalogue, over the metrics that this unit has.

    Of powers at several limits only one takes part: they'd count one property several times.
    """
    import numpy as np

    from backbench.statistics.nearest_neighbours import logarithmic, nearest

    found = common.values.everywhere(rows)
    units, whats = sorted({unit for unit, _, _ in found}), [row["what"] for row in rows]
    if unit_key not in units or len(units) < 2:
        return ()
    place, column = {u: i for i, u in enumerate(units)}, {w: j for j, w in enumerate(whats)}
    table = np.full((len(units), len(whats)), np.nan)
    at = [place[unit] for unit, _, _ in found], [column[what] for _, what, _ in found]
    table[at] = [value for _, _, value in found]
    ratio = logarithmic([row["unit"] for row in rows])
    with np.errstate(divide="ignore", invalid="ignore"):
        table[:, ratio] = np.log10(np.abs(table[:, ratio]))
    table[~np.isfinite(table)] = np.nan
    labels = common.units.by_key("label")
    names = [row["title"] for row in rows]
    return tuple(
        NearUnit(
            units[near.index], labels[units[near.index]], near.distance, near.shared,
            tuple(names[j] for j in near.alike), tuple(names[j] for j in near.apart),
        )
        for near in nearest(table, place[unit_key])
    )  # fmt: skip
