"""A unit's metrics among its peers: place, percentile, neighbours, and who was left out."""

from __future__ import annotations

import heapq
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from backbench.comparison.compared_points import compared_points, preferred
from backbench.comparison.drift import LevelChange, steps
from backbench.comparison.peers import Peers, all_units
from backbench.comparison.stale_figures import MARK, Stale, stale_figures
from backbench.documents.kinds import loudspeaker_kinds
from backbench.documents.settings import Settings
from backbench.metrics.declared_traits import declarations
from backbench.quantities.counts import counted
from backbench.statistics import ranks
from backbench.storage.database import Database
from backbench.test_points.points import is_of_a_tuner

if TYPE_CHECKING:
    import polars as pl

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


def compared_values(entered: bool = True) -> dict[str, Any]:
    """The parameters of the statement that reads every unit's values where units are compared.

    entered: whether readings typed from old records take part.
    """
    points = compared_points()
    return {
        "metrics": [*points], "points": sorted({p for own in points.values() for p in own}),
        "entered": entered, "loudspeaker_kinds": loudspeaker_kinds(),
        "loudspeaker_only": [*declarations().having(lambda traits: traits.loudspeaker_only)],
    }  # fmt: skip


# The worse of a unit's outputs (by name where no direction is better) is chosen before names are
# joined to it: what is ordered is then narrow.
OF_ALL = """
WITH worse AS (
    SELECT
        unit_key, review_key, analysis_key, metric, point_key, limit_percent, output, reading_key,
        value, uncertainty, dof, bound, status, unit, better, reviewed, volume, interpolated,
        own_u, own_dof, shared_u, shared_with, session_default,
        CASE WHEN detail = '{}' THEN concat_ws('/', metric, point_key, limit_percent)
             ELSE concat_ws('/', metric, point_key, limit_percent, detail ->> '$.distortion',
                            detail ->> '$.harmonics') END AS what
    FROM placed
    WHERE list_contains($metrics, metric) AND list_contains($points, point_key)
      AND order_n IS NULL AND ($entered OR status <> 'entered')
      AND detail NOT LIKE '%"weighting":"none"%'
    QUALIFY row_number() OVER (
        PARTITION BY unit_key, what
        ORDER BY CASE better WHEN 'lower' THEN -value WHEN 'higher' THEN value
                             WHEN 'nearer zero' THEN -abs(value) ELSE 0 END,
                 output, reading_key
    ) = 1
)
SELECT
    worse.* EXCLUDE (what), review.bench_key, label, metric.title, test_point.title AS point, what
FROM worse
JOIN (SELECT unit_key, label, kind FROM peer) USING (unit_key)
JOIN metric USING (metric)
JOIN test_point USING (point_key)
JOIN review USING (review_key)
WHERE list_contains($loudspeaker_kinds, kind) OR NOT list_contains($loudspeaker_only, metric)
ORDER BY unit_key, metric, point_key, limit_percent
"""


@dataclass(frozen=True)
class Common:
    """What every unit is compared with: the worse output of each unit at every place, and what
    there is of each metric of each unit. Read once, it serves any number of comparisons.

    units: every unit, as peers are chosen from. stale: figures that are out of date by the settings
    as they are now. steps: of the benches.
    """

    units: pl.DataFrame
    values: pl.DataFrame
    absences: pl.DataFrame
    stale: Stale
    steps: tuple[LevelChange, ...]


def read_common(store: Database, entered: bool = True, settings: Settings | None = None) -> Common:
    """From an open store. entered: whether typed-in readings of old records take part.

    settings: of the catalogue, as they are now; without them no figure is marked as out of date.
    """
    wanted = compared_values(entered)
    return Common(
        all_units(store),
        store.frame(OF_ALL, wanted),
        store.frame(ABSENCES, {"metrics": wanted["metrics"]}),
        stale_figures(store, settings) if settings else Stale(),
        tuple(steps(store)),
    )


def placed(
    common: Common, unit_key: str, chosen: Peers
) -> tuple[tuple[Standing, ...], tuple[NearUnit, ...], pl.DataFrame]:
    """The unit's lines, the units most like it, and the values among peers that they rest on."""
    import polars as pl

    own = common.values.filter(pl.col("unit_key") == unit_key)
    rows = preferred(list(own.iter_rows(named=True)))
    alike = common.values.filter(pl.col("what").is_in([row["what"] for row in rows]))
    among = _among(alike, chosen)
    parts = {str(key[0]): part for key, part in among.group_by("what", maintain_order=True)}
    lines = tuple(
        _line(row, parts[row["what"]], chosen, common.absences, common.stale) for row in rows
    )
    shared = [row for row in rows if row["limit_percent"] in (None, LIMIT_PERCENT)]
    everyone = alike.filter(pl.col("what").is_in([row["what"] for row in shared]))
    return lines, _nearest(everyone, unit_key, shared), among


def _among(alike: pl.DataFrame, chosen: Peers) -> pl.DataFrame:
    """The rows of peers; who they are depends on whether a test point is of a tuner."""
    import polars as pl

    usual = pl.col("unit_key").is_in(list(chosen.keys))
    if not chosen.with_a_tuner:
        return alike.filter(usual)
    points = [point for point in alike["point_key"].unique() if is_of_a_tuner(point)]
    tuners = pl.col("unit_key").is_in(list(chosen.with_a_tuner))
    return alike.filter(pl.when(pl.col("point_key").is_in(points)).then(tuners).otherwise(usual))


def _line(
    row: dict[str, Any], among: pl.DataFrame, chosen: Peers, absent: pl.DataFrame, stale: Stale
) -> Standing:
    keys = among["unit_key"].to_list()
    index = keys.index(row["unit_key"])
    rank = percentile = None
    if row["better"] != "neither":
        values = ranks.oriented(
            among["value"].to_list(),
            among["own_u"].to_list(),
            row["better"],
            dof=among["own_dof"].to_list(),
            bound=among["bound"].to_list(),
            shared=among["shared_u"].fill_null(0.0).to_list(),
            source=among["shared_with"].to_list(),
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
        interpolated=int(among["interpolated"].sum()),
        stale=stale.has(row["review_key"], row["analysis_key"]),
        session_default=bool(row["session_default"]),
        reading_key=row["reading_key"],
    )


def _around(row: dict[str, Any], among: pl.DataFrame) -> tuple[Neighbour, ...]:
    """The units whose values are nearest, in order of value."""
    pairs = enumerate(zip(among["value"].to_list(), among["unit_key"].to_list(), strict=True))
    others = ((abs(value - row["value"]), key, i) for i, (value, key) in pairs
              if key != row["unit_key"])  # fmt: skip
    nearest = (among.row(i, named=True) for _, _, i in heapq.nsmallest(NEIGHBOURS, others))
    near = sorted(nearest, key=lambda r: (r["value"], r["unit_key"]))
    return tuple(
        Neighbour(r["unit_key"], r["label"], r["value"], r["status"] == "entered") for r in near
    )


def _note(row: Mapping[str, Any], among: pl.DataFrame) -> str:
    """How many of the values were not measured at the test point itself, and whether this was."""
    entered = int((among["status"] == "entered").sum())
    between = int(among["interpolated"].sum())
    remarks = [f"{entered} entered, not measured"] if entered else []
    remarks += [f"{between} interpolated in power"] if between else []
    remarks += ["this one among them"] if row["interpolated"] else []
    return ", ".join(remarks)


def _stale_note(row: Mapping[str, Any], among: pl.DataFrame, stale: Stale) -> str:
    """How many of the values are out of date, and whether this one is."""
    if not stale.analyses:
        return ""
    others = sum(
        stale.has(r["review_key"], r["analysis_key"])
        for r in among.iter_rows(named=True)
        if r["unit_key"] != row["unit_key"]
    )
    own = stale.has(row["review_key"], row["analysis_key"])
    remarks = [f"out of date: {MARK}"] if own else []
    remarks += [f"{counted(others, 'peer')} {MARK}"] if others else []
    return ", ".join(remarks)


ABSENCES = """
SELECT
    unit_key, metric,
    bool_or(value IS NOT NULL AND reading.method_version = metric.method_version) AS current,
    bool_or(value IS NOT NULL) AS valued,
    bool_or(status = 'entered') AS entered
FROM reading
JOIN metric USING (metric)
WHERE list_contains($metrics, metric) AND order_n IS NULL
GROUP BY unit_key, metric
"""


def _left_out(metric: str, missing: set[str], absent: pl.DataFrame) -> dict[str, int]:
    import polars as pl

    of_these = pl.col("unit_key").is_in(list(missing))
    known = {
        row["unit_key"]: row
        for row in absent.filter(pl.col("metric") == metric, of_these).iter_rows(named=True)
    }
    counts: dict[str, int] = {}
    for key in sorted(missing):
        reason = _reason(known.get(key))
        counts[reason] = counts.get(reason, 0) + 1
    return dict(sorted(counts.items()))


def _reason(row: Mapping[str, Any] | None) -> str:
    if row is None:
        return "not measured"
    if not row["valued"]:
        return "refused a number"
    if not row["current"]:
        return "by another method version"
    return "entered or off the test point" if row["entered"] else "off the test point"


def _nearest(
    frame: pl.DataFrame, unit_key: str, rows: list[dict[str, Any]]
) -> tuple[NearUnit, ...]:
    """The nearest units of the whole catalogue, over the metrics that this unit has.

    Of powers at several limits only one takes part: they'd count one property several times.
    """
    import numpy as np

    from backbench.statistics.nearest_neighbours import logarithmic, nearest

    keys, titles = frame["unit_key"].to_list(), frame["label"].to_list()
    units = sorted(set(keys))
    whats = [row["what"] for row in rows]
    if unit_key not in units or len(units) < 2:
        return ()
    place, column = {u: i for i, u in enumerate(units)}, {w: j for j, w in enumerate(whats)}
    table = np.full((len(units), len(whats)), np.nan)
    at = [place[u] for u in keys], [column[w] for w in frame["what"].to_list()]
    table[at] = frame["value"].to_numpy()
    ratio = logarithmic([row["unit"] for row in rows])
    with np.errstate(divide="ignore", invalid="ignore"):
        table[:, ratio] = np.log10(np.abs(table[:, ratio]))
    table[~np.isfinite(table)] = np.nan
    labels = dict(zip(keys, titles, strict=True))
    names = [row["title"] for row in rows]
    return tuple(
        NearUnit(
            units[near.index], labels[units[near.index]], near.distance, near.shared,
            tuple(names[j] for j in near.alike), tuple(names[j] for j in near.apart),
        )
        for near in nearest(table, place[unit_key])
    )  # fmt: skip
