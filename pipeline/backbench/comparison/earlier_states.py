"""Figures of a unit from before its present state: shown apart, never among those of the unit."""

from __future__ import annotations

from collections.abc import Collection

from backbench.comparison.compared_points import compared_points
from backbench.quantities.writing import measured
from backbench.storage.database import Database

EARLIER = """
SELECT title, value, uncertainty, at_point.unit, bound, output, at_point.reviewed, state,
       reviewed > (SELECT max(reviewed) FROM unit_period WHERE standing AND unit_key = $unit)
           AS is_later
FROM at_point
JOIN metric USING (metric)
JOIN (SELECT review_key, unit_key, state FROM unit_period) USING (review_key, unit_key)
WHERE unit_key = $unit AND NOT standing AND order_n IS NULL AND list_contains($metrics, metric)
  AND list_contains($points, metric || '@' || point_key)
  AND (limit_percent IS NULL OR limit_percent = 1)
QUALIFY row_number() OVER (
    PARTITION BY metric
    ORDER BY status = 'entered', at_point.reviewed DESC,
             list_position($points, metric || '@' || point_key),
             CASE at_point.better WHEN 'lower' THEN -value WHEN 'higher' THEN value
                                  ELSE -abs(value) END,
             reading_key
) = 1
ORDER BY list_position($metrics, metric)
"""


OTHER_STATE = "SELECT 1 FROM unit_period WHERE unit_key = $unit AND NOT standing LIMIT 1"


def earlier_figures(store: Database, unit_key: str, present: Collection[str]) -> list[str]:
    """A sentence for each compared metric that only reviews of another state have.

    present: the metrics that the unit has in its present state.
    """
    if not store.rows(OTHER_STATE, {"unit": unit_key}):
        return []
    points = {m: own for m, own in compared_points().items() if m not in present}
    rows = store.records(EARLIER, {
        "unit": unit_key, "metrics": [*points],
        "points": [f"{metric}@{point}" for metric, own in points.items() for point in own],
    })  # fmt: skip
    return [
        f"{row['title']} was not measured in the present state; "
        f"{measured(row['value'], row['uncertainty'], row['unit'], row['bound'])} is from "
        f"{row['reviewed']:%Y-%m}, {'after' if row['is_later'] else 'before'} it ({row['state']})"
        for row in rows
    ]
