"""The values that units are ranked among: asked of the store for one unit, or read once for many.

A unit is compared by the worse of its outputs at each place: metric, test point, limit and further
conditions, which `what` names.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Protocol

from backbench.comparison.compared_points import compared_points
from backbench.comparison.peers import Units
from backbench.documents.kinds import loudspeaker_kinds
from backbench.metrics.declared_traits import declarations
from backbench.storage.database import Database

if TYPE_CHECKING:
    import polars as pl

Row = Mapping[str, Any]
AMONG_UNITS = "SEMI JOIN (SELECT unnest($units) AS unit_key) USING (unit_key)"
# The worse output has the least of these, by name where no direction is better.
WORSE_FIRST = """CASE better WHEN 'lower' THEN -value WHEN 'higher' THEN value
                             WHEN 'nearer zero' THEN -abs(value) ELSE 0 END"""
COMPARED = """list_contains($metrics, metric) AND list_contains($points, point_key)
      AND order_n IS NULL AND ($entered OR status <> 'entered')
      AND detail NOT LIKE '%"weighting":"none"%'"""


COLUMNS = """unit_key, review_key, analysis_key, metric, point_key, limit_percent, output,
    reading_key, value, uncertainty, dof, bound, status, unit, better, reviewed, volume,
    interpolated, own_u, own_dof, shared_u, shared_with, session_default"""
# It is chosen before names are joined to it: what is ordered is then narrow.
OF_SOME = f"""
WITH worse AS (
    SELECT
        {COLUMNS},
        CASE WHEN detail = '{{}}' THEN concat_ws('/', metric, point_key, limit_percent)
             ELSE concat_ws('/', metric, point_key, limit_percent, detail ->> '$.distortion',
                            detail ->> '$.harmonics') END AS what
    FROM placed {AMONG_UNITS}
    WHERE {COMPARED}
    QUALIFY row_number() OVER (
        PARTITION BY unit_key, what ORDER BY {WORSE_FIRST}, output, reading_key
    ) = 1
)
SELECT worse.*, review.bench_key, metric.title, test_point.title AS point
FROM worse
JOIN metric USING (metric)
JOIN test_point USING (point_key)
JOIN review USING (review_key)
WHERE what IN (SELECT what FROM worse WHERE unit_key = $unit)
ORDER BY unit_key, metric, point_key, limit_percent
"""


def _everywhere(column: str) -> str:
    """This of the worse output of every unit at every place, with `what`.

    Grouping is narrower than ordering whole rows of the view: half the time for all units.
    """
    return f"""
    SELECT unit_key, metric, point_key, limit_percent,
           if(detail = '{{}}', NULL, detail ->> '$.distortion') AS distortion,
           if(detail = '{{}}', NULL, detail ->> '$.harmonics') AS harmonics,
           concat_ws('/', metric, point_key, limit_percent, distortion, harmonics) AS what,
           arg_min({column}, {{'place': {WORSE_FIRST}, 'output': output, 'key': reading_key}})
               AS {column}
    FROM value_at_point
    WHERE stands AND {COMPARED}
    GROUP BY ALL
    """


OF_ALL = f"""
WITH worse AS (
    SELECT {COLUMNS}, what
    FROM (SELECT reading_key, point_key, what FROM ({_everywhere("reading_key")}))
    JOIN (FROM placed WHERE {COMPARED}) USING (reading_key, point_key)
)
SELECT
    worse.* EXCLUDE (what), review.bench_key, label, metric.title, test_point.title AS point, what
FROM worse
JOIN (SELECT unit_key, label, kind FROM peer) USING (unit_key)
JOIN metric USING (metric)
JOIN test_point USING (point_key)
JOIN review USING (review_key)
WHERE list_contains($loudspeaker_kinds, kind) OR NOT list_contains($loudspeaker_only, metric)
ORDER BY unit_key, metric, point_key, limit_percent, what
"""
# The value alone of every unit at these places.
EVERYWHERE = f"""
SELECT unit_key, metric, value, what
FROM ({_everywhere("value")})
WHERE list_contains($whats, what)
ORDER BY unit_key
"""


def _absences(among: str = "") -> str:
    return f"""
    SELECT
        unit_key, metric,
        bool_or(value IS NOT NULL AND reading.method_version = metric.method_version) AS current,
        bool_or(value IS NOT NULL) AS valued,
        bool_or(status = 'entered') AS entered
    FROM reading
    JOIN metric USING (metric)
    {among}
    WHERE list_contains($metrics, metric) AND order_n IS NULL
    GROUP BY unit_key, metric
    """


def compared_values(entered: bool = True) -> dict[str, Any]:
    """The parameters of the statement that reads every unit's values where units are compared.

    entered: whether readings typed from old records take part.
    """
    points = compared_points()
    return {
        **_places(points.keys(), (p for own in points.values() for p in own), entered),
        "loudspeaker_kinds": loudspeaker_kinds(),
        "loudspeaker_only": [*loudspeaker_only()],
    }


def loudspeaker_only() -> tuple[str, ...]:
    """Metrics in which only units that drive loudspeakers are compared."""
    return declarations().having(lambda traits: traits.loudspeaker_only)


def _places(metrics: Iterable[str], points: Iterable[str], entered: bool) -> dict[str, Any]:
    return {"metrics": [*metrics], "points": sorted({*points}), "entered": entered}


class Comparable(Protocol):
    """Values of units at the places where one of them has a value."""

    def beside(self, unit_key: str, keys: Collection[str]) -> list[Row]:
        """Of these units, at every place where one unit has a value; by unit, metric and point."""

    def everywhere(self, rows: Sequence[Row]) -> list[tuple[str, str, float]]:
        """Unit, place and value of every unit of the catalogue at the places of some rows."""

    def absences(self, keys: Collection[str]) -> Mapping[tuple[str, str], Row]:
        """What there is at all of each compared metric of these units."""


@dataclass(frozen=True, eq=False)
class AskedValues:
    """Asked of an open store for each unit: of its peers what is told, of all others the values."""

    store: Database
    units: Units
    entered: bool

    def beside(self, unit_key: str, keys: Collection[str]) -> list[Row]:
        points = compared_points()
        places = _places(points.keys(), (p for own in points.values() for p in own), self.entered)
        rows = self.store.records(OF_SOME, {**places, "units": [*keys], "unit": unit_key})
        silent = self._silent
        labels = self.units.by_key("label")
        return [
            {**row, "label": labels[row["unit_key"]]}
            for row in rows
            if row["metric"] not in silent.metrics or row["unit_key"] not in silent.units
        ]

    def everywhere(self, rows: Sequence[Row]) -> list[tuple[str, str, float]]:
        if not rows:
            return []
        places = _places({r["metric"] for r in rows}, (r["point_key"] for r in rows), self.entered)
        found = self.store.rows(EVERYWHERE, {**places, "whats": [row["what"] for row in rows]})
        silent = self._silent
        return [
            (unit, what, value)
            for unit, metric, value, what in found
            if metric not in silent.metrics or unit not in silent.units
        ]

    def absences(self, keys: Collection[str]) -> Mapping[tuple[str, str], Row]:
        found = self.store.records(
            _absences(AMONG_UNITS), {"metrics": [*compared_points()], "units": [*keys]}
        )
        return {(row["unit_key"], row["metric"]): row for row in found}

    @cached_property
    def _silent(self) -> Silent:
        driving = loudspeaker_kinds()
        kinds = self.units.by_key("kind")
        units = frozenset(key for key, kind in kinds.items() if kind not in driving)
        return Silent(units, frozenset(loudspeaker_only()))


@dataclass(frozen=True)
class Silent:
    """Units that drive no loudspeakers, and metrics that they are not compared in."""

    units: frozenset[str]
    metrics: frozenset[str]


class ReadValues:
    """Read once, for any number of units."""

    def __init__(self, store: Database, entered: bool) -> None:
        wanted = compared_values(entered)
        self._values = store.frame(OF_ALL, wanted)
        found = store.records(_absences(), {"metrics": wanted["metrics"]})
        self._absences = {(row["unit_key"], row["metric"]): row for row in found}

    def beside(self, unit_key: str, keys: Collection[str]) -> list[Row]:
        import polars as pl

        own = self._values.filter(pl.col("unit_key") == unit_key)["what"].to_list()
        chosen = pl.col("unit_key").is_in([*keys]), pl.col("what").is_in(own)
        return list(self._values.filter(*chosen).iter_rows(named=True))

    def everywhere(self, rows: Sequence[Row]) -> list[tuple[str, str, float]]:
        import polars as pl

        chosen: pl.DataFrame = self._values.filter(
            pl.col("what").is_in([row["what"] for row in rows])
        )
        return chosen.select("unit_key", "what", "value").rows()

    def absences(self, keys: Collection[str]) -> Mapping[tuple[str, str], Row]:
        return self._absences
