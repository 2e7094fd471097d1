"""Of many differences the one of each usual quantity, and why a quantity has none."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from backbench.comparison.compared_points import compared_points
from backbench.comparison.differences import Difference, unequal_conditions
from backbench.comparison.standings import LIMIT_PERCENT
from backbench.metrics.declared_traits import declarations
from backbench.quantities.sentences import listed, lowered
from backbench.quantities.writing import in_text

UNWEIGHTED = '"weighting":"none"'


def one_per_metric(differences: Sequence[Difference]) -> list[Difference]:
    """One difference of each metric that units are compared in, in the order that these have.

    At the first test point in the metric's order of preference that has one; of several outputs
    the one that differs most surely.
    """
    chosen = []
    for metric, points in compared_points().items():
        own = [
            d for d in differences if d.metric == metric and _is_usual(d.limit_percent, d.detail)
        ]
        at = next((p for p in points if any(d.point_key == p for d in own)), None)
        chosen += [d for d in own if d.point_key == at][:1]
    return chosen


def usual(differences: Sequence[Difference], *, on_request: bool = False) -> list[Difference]:
    """As `one_per_metric`, the surest first, without what another quantity says again.

    on_request: those too. What became worse is never left out.
    """
    again = declarations().having(lambda traits: traits.on_request)
    chosen = {id(d) for d in one_per_metric(differences)
              if on_request or d.metric not in again or d.assessment == "worse"}  # fmt: skip
    return [d for d in differences if id(d) in chosen]


def of_other_outputs(d: Difference, differences: Iterable[Difference]) -> list[Difference]:
    """The same quantity at the same test point, of the other outputs."""

    def place(one: Difference) -> tuple[Any, ...]:
        return one.metric, one.point_key, one.order_n, one.limit_percent, one.detail

    return [one for one in differences if place(one) == place(d) and one.output != d.output]


def left_out(
    first: Iterable[Mapping[str, Any]],
    second: Iterable[Mapping[str, Any]],
    compared: Iterable[Difference],
    sides: tuple[str, str],
) -> list[str]:
    """Why usual quantities of one side or both have no difference: "gain (volume full before,
    9 o'clock after)".

    first, second: rows of both sides. compared: their differences. sides: what they are called.
    """
    present = {d.metric for d in compared}
    reasons = []
    for metric, points in compared_points().items():
        left, right = ([*_rows_at(rows, metric, points)] for rows in (first, second))
        if metric not in present and (left or right):
            title = lowered(str((left or right)[0]["title"]))
            reasons.append(f"{title} ({_why(left, right, sides)})")
    return reasons


def _rows_at(
    rows: Iterable[Mapping[str, Any]], metric: str, points: Sequence[str]
) -> Iterable[Mapping[str, Any]]:
    return (
        row for row in rows
        if row["metric"] == metric and row["point_key"] in points
        and _is_usual(row["limit_percent"], row["detail"])
    )  # fmt: skip


def _is_usual(limit_percent: float | None, detail: str) -> bool:
    return limit_percent in (None, LIMIT_PERCENT) and UNWEIGHTED not in detail


def _why(
    left: Sequence[Mapping[str, Any]], right: Sequence[Mapping[str, Any]], sides: tuple[str, str]
) -> str:
    if not left or not right:
        return f"{sides[0] if left else sides[1]} only"
    pairs = [(a, b) for a in left for b in right if a["point_key"] == b["point_key"]]
    if not pairs:
        return "at different test points"
    for a, b in pairs:
        if names := unequal_conditions(a, b):
            return listed(_unequal(name, a, b, sides) for name in names)
    if all(a["output"] != b["output"] for a, b in pairs):
        return _unequal("output", *pairs[0], sides)
    return "under different conditions"


def _unequal(name: str, a: Mapping[str, Any], b: Mapping[str, Any], sides: tuple[str, str]) -> str:
    values = (in_text(row[name], "ohm") if name == "load_ohm" else str(row[name]) for row in (a, b))
    words = [f"{value} {side}" for value, side in zip(values, sides, strict=True)]
    return f"{name.removesuffix('_ohm')} {', '.join(words)}"
