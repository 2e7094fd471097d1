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
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from backbench.metrics.declared_traits import declarations
from backbench.metrics.session_spreads import SessionSpread, usual_spread
from backbench.storage.database import Database
from backbench.storage.held_rows import hold_rows
from backbench.test_points.scope import OF_UNITS

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


# Of quantities that spread in relation to their size, what their logarithms vary by.
SESSIONS = """
SELECT metric, unit_key, sessions,
       if(list_contains($in_relation, metric), log_variance, variance) AS variance,
       if(list_contains($in_relation, metric), log_record, record) AS record
FROM between_sessions
ORDER BY metric, unit_key, period
"""

# Cheaper than working it out, which gives nothing where none of the units was there twice.
ANY_REPEATED = (
    "SELECT 1 FROM appearance WHERE {chosen} GROUP BY unit_key HAVING count(*) > 1 LIMIT 1"
)


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


def renew_repeatability(store: Database, unit_keys: Collection[str] | None) -> None:
    """Work out what some units, or all, differ by between sessions, and fill table session_spread.

    Inside the caller's transaction. unit_keys: every unit that a changed review has, or had.
    """
    units = None if unit_keys is None else sorted(unit_keys)
    chosen, values = ("true", {}) if units is None else (OF_UNITS, {"units": units})
    store.run(f"DELETE FROM between_sessions WHERE {chosen}", values)
    if store.rows(ANY_REPEATED.format(chosen=chosen), values):
        store.run(
            "INSERT INTO between_sessions BY NAME FROM worked_out_between_sessions($units) "
            "ORDER BY metric, unit_key, period",
            {"units": units},
        )
    hold_rows(store, "session_spread", _spreads(store))


def _spreads(store: Database) -> list[dict[str, Any]]:
    """The rows of session_spread by what is kept of every unit."""
    observed: dict[str, list[Mapping[str, Any]]] = {}
    units = store.rows("SELECT metric, unit FROM metric ORDER BY metric")
    defaults = {str(metric): default_spread(str(metric), str(unit)) for metric, unit in units}
    in_relation = [metric for metric, default in defaults.items() if default.is_relative]
    for row in store.records(SESSIONS, {"in_relation": in_relation}):
        observed.setdefault(row["metric"], []).append(row)
    return _rows(
        [
            pooled(metric, default.is_relative, default.size, observed.get(metric, []))
            for metric, default in defaults.items()
        ]
    )


def default_spread(metric: str, unit: str) -> SessionSpread:
    """The spread that a metric's declaration states, or else the usual one of its unit."""
    return declarations().traits(metric).session_spread or usual_spread(unit)


def _rows(spreads: Sequence[Repeatability]) -> list[dict[str, Any]]:
    follow = declarations().having(lambda traits: traits.interpolated_in_power)
    return [
        {**vars(one), "is_default": one.is_default, "follows_power": one.metric in follow}
        for one in spreads
    ]
