"""Saved queries that rank units in the reviewer's own quantities: one for each, made from it."""

from __future__ import annotations

from collections.abc import Iterator

from backbench.metrics.declaration import Metric
from backbench.metrics.in_force import own_metrics
from backbench.metrics.traits import BY_HAND_POINT

MADE_FROM = "backbench.toml, quantity"
"""In place of the file that a saved query stands in."""
BEST = {"lower": "lowest", "higher": "highest", "nearer zero": "nearest zero"}
TEXT = """\
-- title: {title}
-- question: How do units compare in this quantity of my own? {definition}
-- conditions: {{technology}}; {{kind}}; entered by hand; worse output
-- grain: unit_key; one row per unit
-- metric: {name}
-- parameter technology: technology = ''; technology; where empty, all
-- parameter kind: text = ''; kind, or a group of kinds; where empty, all
-- parameter most: integer = 40; greatest number of rows
-- parameter unit: unit = ''; unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column value: {unit}; {title}
-- column low: {unit}; Lower limit (k = 2)
-- column high: {unit}; Upper limit (k = 2)
-- column bound: -; Bound
-- column marked: -; Marked unit
-- column own_u: {unit}; u of record and session (k = 1)
-- column own_dof: -; Degrees of freedom
-- column shared_u: {unit}; u of the calibration (k = 1)
-- column shared_with: -; Calibration and output
-- column session_default: -; Spread between sessions by default
-- column peers: -; Units compared
-- chart: {chart}
SELECT
    unit_key, label, technology, value, low, high, bound, unit_key = $unit AS marked,
    own_u, own_dof, shared_u, shared_with, session_default, count(*) OVER () AS peers
FROM worse
JOIN peer USING (unit_key)
WHERE point_key = '{point}' AND metric = '{name}'
  AND ($technology = '' OR technology = $technology)
  AND ($kind = '' OR kind_group = $kind OR peer.kind = $kind)
ORDER BY {order}, unit_key
LIMIT $most
"""
ORDERS = {"higher": "value DESC", "nearer zero": "abs(value)"}


def own_quantity_queries() -> Iterator[tuple[str, str]]:
    """Name and text of the query of each own quantity in force."""
    for metric in own_metrics():
        yield metric.name.replace("_", "-"), _text(metric)


def _text(metric: Metric) -> str:
    best = BEST.get(metric.better)
    return TEXT.format(
        title=metric.title, definition=" ".join(metric.definition.split()), name=metric.name,
        unit="-" if metric.unit == "1" else metric.unit, point=BY_HAND_POINT,
        chart=f"ranked; best = {best}" if best else "strip",
        order=ORDERS.get(metric.better, "value"),
    )  # fmt: skip
