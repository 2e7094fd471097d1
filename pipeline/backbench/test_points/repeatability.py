"""What a second session at a test point would give: the spread of a metric between sessions.

Estimated as the standard deviation between sessions of one unit without work in between (ISO
5725-2: intermediate conditions of one laboratory), pooled over units. Where there are few, it is
shrunk towards the default that the metric's declaration states: the default counts as
`DEFAULT_DOF` degrees of freedom, those observed as theirs (a scaled inverse chi-squared prior).
What the record's own uncertainty explains is taken off. Whether values are taken as they are, as
decibels and angles, or in relation to their size stands with the default
(`metrics/session_spreads.py`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from backbench.metrics.declared_traits import declarations
from backbench.metrics.session_spreads import SessionSpread, usual_spread
from backbench.storage.database import Database

DEFAULT_DOF = 8.0
"""Weight of a stated default, as degrees of freedom."""


@dataclass(frozen=True)
class Repeatability:
    """Spread between sessions of one metric.

    spread: standard deviation, in relation to the value or in its unit, with dof degrees of
    freedom. units, sessions: what it was observed from; 0 where it is the default alone.
    """

    metric: str
    relative: bool
    spread: float
    dof: float
    units: int = 0
    sessions: int = 0

    @property
    def is_default(self) -> bool:
        """Whether nothing but the stated default is known."""
        return self.sessions == 0


# Each cell is one quantity of one unit, measured in several sessions of one state.
SESSIONS = """
WITH repeated AS (
    SELECT unit_key, period FROM unit_period WHERE measured GROUP BY ALL HAVING count(*) > 1
),
cells AS (
    SELECT
        unit_key, period, reading.metric, list_contains($in_relation, reading.metric) AS ratio,
        count(*) AS sessions,
        var_samp(if(ratio, ln(abs(value)), value)) AS variance,
        avg(if(ratio, estimation / abs(value), estimation) ** 2) AS record
    FROM reading
    JOIN unit_period USING (review_key, unit_key)
    SEMI JOIN repeated USING (unit_key, period)
    JOIN (SELECT DISTINCT ON (reading_key, review_key) * FROM reading_point)
        USING (reading_key, review_key)
    JOIN metric ON metric.metric = reading.metric
        AND metric.method_version = reading.method_version
    WHERE status = 'measured' AND bound IS NULL AND value <> 0 AND estimation IS NOT NULL
      AND unit_period.measured
    GROUP BY unit_key, period, reading.metric, unit, point_key, output, against, order_n,
             limit_percent, detail, input, tap, volume, driven,
             CASE WHEN order_n IS NULL THEN round(reading.frequency_hz) END
    HAVING count(DISTINCT review_key) > 1
)
SELECT metric, unit_key, period, max(sessions) AS sessions, avg(variance) AS variance,
       avg(record) AS record
FROM cells
GROUP BY ALL
ORDER BY ALL
"""

# Cheaper than SESSIONS, which has nothing to give where no unit was there twice.
ANY_REPEATED = "SELECT 1 FROM appearance GROUP BY unit_key HAVING count(*) > 1 LIMIT 1"


def pooled(
    metric: str, relative: bool, default: float, rows: Iterable[Mapping[str, Any]]
) -> Repeatability:
    """From the variances between sessions of several units, and a default spread above 0.

    rows: sessions (at least 2), variance between them and record (the mean squared uncertainty
    of the records), a unit and state each.
    """
    known = list(rows)
    dof = sum(row["sessions"] - 1 for row in known)
    between = sum(
        (row["sessions"] - 1) * max(row["variance"] - row["record"], 0.0) for row in known
    )
    variance = (DEFAULT_DOF * default**2 + between) / (DEFAULT_DOF + dof)
    return Repeatability(
        metric=metric,
        relative=relative,
        spread=math.sqrt(variance),
        dof=DEFAULT_DOF + dof,
        units=len({row["unit_key"] for row in known}),
        sessions=sum(row["sessions"] for row in known),
    )


def sync_repeatability(store: Database) -> None:
    """Fill table session_spread from every session. Inside the caller's transaction."""
    observed: dict[str, list[Mapping[str, Any]]] = {}
    units = store.rows("SELECT metric, unit FROM metric ORDER BY metric")
    defaults = {str(metric): default_spread(str(metric), str(unit)) for metric, unit in units}
    in_relation = [metric for metric, default in defaults.items() if default.is_relative]
    if store.rows(ANY_REPEATED):
        for row in store.records(SESSIONS, {"in_relation": in_relation}):
            observed.setdefault(row["metric"], []).append(row)
    rows = [
        pooled(metric, default.is_relative, default.size, observed.get(metric, []))
        for metric, default in defaults.items()
    ]
    store.run("DELETE FROM session_spread")
    store.append("session_spread", _rows(rows))


def default_spread(metric: str, unit: str) -> SessionSpread:
    """The spread that a metric's declaration states, or else the usual one of its unit."""
    return declarations().traits(metric).session_spread or usual_spread(unit)


def _rows(spreads: Sequence[Repeatability]) -> list[dict[str, Any]]:
    follow = declarations().having(lambda traits: traits.interpolated_in_power)
    return [
        {**vars(one), "is_default": one.is_default, "follows_power": one.metric in follow}
        for one in spreads
    ]
