"""Differences between two sets of readings: before and after, two samples, left and right.

What one calibration gives to both sides cancels; what another session would give is part of each
side's uncertainty, but where both are outputs of one unit in one session.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from backbench.comparison.peers import unit_row
from backbench.errors import Fault, UserError
from backbench.metrics.registry import registry
from backbench.statistics.shared_uncertainty import (
    Uncertainty,
    coverage_factor,
    of_difference,
)
from backbench.storage.database import Database

if TYPE_CHECKING:
    import polars as pl

LOAD_WITHIN = 0.05
Key = tuple[Any, ...]


@dataclass(frozen=True)
class Difference:
    """Second less first, in the metric's unit, with the standard uncertainty of the difference.

    beyond: its size over its expanded uncertainty (95.45 %): above 1 it is significant; None where
    an uncertainty is unknown or a side is a bound that could lie on the other side. output: where
    both sides have the same. detail: further conditions of both, canonical JSON.
    session_default: the spread between sessions in its uncertainty is the metric's stated default.
    """

    metric: str
    title: str
    unit: str
    better: str
    point_key: str
    order_n: int | None
    limit_percent: float | None
    first: float
    second: float
    difference: float
    uncertainty: float | None
    beyond: float | None
    output: str = ""
    own_frequency_hz: float | None = None
    detail: str = "{}"
    session_default: bool = False

    @property
    def assessment(self) -> str:
        """In words: better, worse, other, or not significantly different."""
        if self.beyond is None or self.beyond <= 1:
            return "not significantly different"
        if self.better == "neither":
            return "other"
        sizes = (abs(self.first), abs(self.second))
        gain = {
            "lower": self.first - self.second,
            "higher": self.second - self.first,
            "nearer zero": sizes[0] - sizes[1],
        }[self.better]
        return "better" if gain > 0 else "worse"


def differences(
    first: Iterable[Mapping[str, Any]], second: Iterable[Mapping[str, Any]], by_output: bool
) -> list[Difference]:
    """Readings of both sides that are of one metric, test point, order and limit.

    Only under the same conditions (`same_conditions`). by_output: whether the output must be the
    same too. Sorted by how far a difference is beyond
    its uncertainty; those without an assessment come last.
    """
    left = {_key(row, by_output): row for row in first}
    right = {_key(row, by_output): row for row in second}
    pairs = [
        _difference(left[key], right[key])
        for key in left
        if key in right and same_conditions(left[key], right[key])
    ]
    return sorted(pairs, key=_order)


def same_conditions(a: Mapping[str, Any], b: Mapping[str, Any]) -> bool:
    """Whether no condition differs that both sides state: input, tap, volume, driven, load."""
    for name in ("input", "tap", "volume", "driven"):
        stated = [str(row[name]).strip().lower() for row in (a, b) if row.get(name) is not None]
        if len(set(stated)) > 1:
            return False
    loads = [row["load_ohm"] for row in (a, b) if row.get("load_ohm")]
    return len(loads) < 2 or abs(math.log(loads[0] / loads[1])) <= LOAD_WITHIN


def _key(row: Mapping[str, Any], by_output: bool) -> Key:
    output = row["output"] if by_output else None
    return (
        row["metric"], row["point_key"], row["order_n"], row["limit_percent"],
        row["own_frequency_hz"], row["detail"], output,
    )  # fmt: skip


def _order(d: Difference) -> tuple[bool, float, str, str, int, float]:
    beyond = -(d.beyond or 0.0)
    return (
        d.beyond is None, beyond, d.metric, d.point_key, d.order_n or 0, d.limit_percent or 0.0
    )  # fmt: skip


def _difference(a: Mapping[str, Any], b: Mapping[str, Any]) -> Difference:
    difference = b["value"] - a["value"]
    u, dof = _uncertainty(a, b)
    return Difference(
        metric=a["metric"],
        title=a["title"],
        unit=a["unit"],
        better=a["better"],
        point_key=a["point_key"],
        order_n=a["order_n"],
        limit_percent=a["limit_percent"],
        first=a["value"],
        second=b["value"],
        difference=difference,
        uncertainty=u,
        beyond=None if u is None or _open(a, b, difference) else _beyond(difference, u, dof),
        output=a["output"] if a["output"] == b["output"] else "",
        own_frequency_hz=a["own_frequency_hz"],
        detail=a["detail"],
        session_default=u is not None
        and not _same_session(a, b)
        and bool(a.get("session_default") or b.get("session_default")),
    )


def _uncertainty(a: Mapping[str, Any], b: Mapping[str, Any]) -> tuple[float | None, float | None]:
    """Of the difference, with its degrees of freedom. Outputs of one unit in one session are
    compared as they were then: what another session would give is left out."""
    if a["uncertainty"] is None or b["uncertainty"] is None:
        return None, None
    same = _same_session(a, b)
    return of_difference(*(_record_alone(row) if same else of_row(row) for row in (a, b)))


def _same_session(a: Mapping[str, Any], b: Mapping[str, Any]) -> bool:
    """Whether both are of one unit in one session."""
    keys = ("unit_key", "review_key")
    return all(a.get(key) == b.get(key) for key in keys)


def of_row(row: Mapping[str, Any]) -> Uncertainty:
    """The uncertainty of a row of the views at_point and placed by its parts."""
    return Uncertainty(row["own_u"], row["shared_u"], row["shared_with"], row["own_dof"])


def _record_alone(row: Mapping[str, Any]) -> Uncertainty:
    record = row["estimation"]
    own = row["uncertainty"] if record is None else record
    return Uncertainty(own, row["shared_u"], row["shared_with"], row["dof"])


def _beyond(difference: float, u: float, dof: float | None) -> float:
    if u == 0:
        return math.inf if difference else 0.0
    return abs(difference) / (coverage_factor(dof) * u)


def _open(a: Mapping[str, Any], b: Mapping[str, Any], difference: float) -> bool:
    """Whether a bound leaves open that the difference is smaller or of the other sign."""
    larger, smaller = (b, a) if difference > 0 else (a, b)
    return bool(larger["bound"] == "upper" or smaller["bound"] == "lower")


def as_set() -> list[str]:
    """Metrics that the reviewer sets: what they differ in is no property of a unit."""
    return [*registry().having(lambda traits: traits.set_by_reviewer)]


ROWS = """
SELECT placed.*, metric.title
FROM placed
JOIN metric USING (metric)
WHERE unit_key = $unit AND NOT list_contains($as_set, metric)
ORDER BY point_key, metric, output, reading_key
"""

OF_REVIEW = """
SELECT at_point.*, metric.title
FROM at_point
JOIN metric USING (metric)
WHERE review_key = $review AND unit_key = $unit AND NOT list_contains($as_set, metric)
ORDER BY point_key, metric, output, status <> 'entered', reading_key
"""


def _rows(store: Database, sql: str, **values: str) -> list[dict[str, Any]]:
    return list(store.frame(sql, {**values, "as_set": as_set()}).iter_rows(named=True))


def before_and_after(
    store: Database, unit_key: str, reviews: tuple[str, str] | None = None
) -> list[Difference]:
    """A unit's later review less its earlier one, output by output.

    reviews: their keys; by default the first as received and the newest in another state.
    Raises UserError for an unknown unit, and where there are no such two reviews.
    """
    first, second = reviews or _either_side(store, unit_key)
    return differences(
        _rows(store, OF_REVIEW, review=first, unit=unit_key),
        _rows(store, OF_REVIEW, review=second, unit=unit_key),
        by_output=True,
    )


def _either_side(store: Database, unit_key: str) -> tuple[str, str]:
    unit_row(store, unit_key)
    pair = store.rows(
        "SELECT before_key, after_key FROM before_after WHERE unit_key = $unit", {"unit": unit_key}
    )
    if pair:
        return str(pair[0][0]), str(pair[0][1])
    rows = store.rows(
        "SELECT review_key, state FROM unit_period WHERE unit_key = $unit "
        "ORDER BY reviewed, review_key",
        {"unit": unit_key},
    )
    states = ", ".join(f"{key}: {state}" for key, state in rows)
    fault = Fault(unit_key, states, "a review as received and a later one in another state")
    raise UserError("there is no before and after", [fault])


def left_and_right(store: Database, unit_key: str) -> list[Difference]:
    """The right output less the left one, of the newest readings of a unit.

    Raises UserError for an unknown unit and for one without both outputs.
    """
    unit_row(store, unit_key)
    rows = _rows(store, ROWS, unit=unit_key)
    sides = [[row for row in rows if row["output"] == side] for side in ("left", "right")]
    if not all(sides):
        outputs = ", ".join(sorted({row["output"] for row in rows})) or "none"
        fault = Fault(unit_key, f"outputs {outputs}", "readings of left and right",
                      "of two mono units, compare the samples")  # fmt: skip
        raise UserError("there is no left and right", [fault])
    return differences(sides[0], sides[1], by_output=False)


def two_units(store: Database, first: str, second: str) -> list[Difference]:
    """The second unit less the first: two samples of a model, or the two of a mono pair.

    Where both have the same outputs they are compared by output, else the only output of each.
    Raises UserError for an unknown unit.
    """
    if first == second:
        fault = Fault(
            "pair", f"{first} twice", "two different units",
            f"before and after work: backbench before-after {first}; left and right: "
            f"backbench compare {first}",
        )  # fmt: skip
        raise UserError("a unit can't be compared with itself", [fault])
    sides = []
    for key in (first, second):
        unit_row(store, key)
        sides.append(_rows(store, ROWS, unit=key))
    outputs = [{row["output"] for row in side} for side in sides]
    same = outputs[0] == outputs[1] and len(outputs[0]) > 1
    return differences(sides[0], sides[1], by_output=same)


def samples(store: Database, unit_key: str) -> Sequence[str]:
    """The other units of the same maker and model. Raises UserError for an unknown unit."""
    unit = unit_row(store, unit_key)
    rows = store.rows(
        "SELECT unit_key FROM unit WHERE maker = $maker AND model = $model "
        "AND unit_key <> $unit ORDER BY unit_key",
        {"maker": unit["maker"], "model": unit["model"], "unit": unit_key},
    )
    return [str(key) for (key,) in rows]


def other_side(store: Database, unit_key: str) -> str | None:
    """The other of a mono pair: the one other unit of the same maker and model in the newest
    review of a unit that has a single output. None where there is no such unit."""
    rows = store.rows(
        "SELECT other.unit_key FROM unit AS own JOIN appearance AS other USING (review_key, maker, "
        "model) WHERE own.unit_key = $unit AND other.unit_key <> $unit AND 1 = ("
        "SELECT count(DISTINCT output) FROM reading WHERE unit_key = $unit "
        "AND review_key = own.review_key)",
        {"unit": unit_key},
    )
    return str(rows[0][0]) if len(rows) == 1 else None


def sides(store: Database, unit_key: str) -> tuple[str, list[Difference]]:
    """Left against right in words and numbers: two outputs, or the two units of a mono pair.

    ("", []) where there is but one output. Raises UserError for an unknown unit.
    """
    other = other_side(store, unit_key)
    if other is not None:
        return f"Less {unit_key}: {other}", two_units(store, unit_key, other)
    try:
        return "Right less left", left_and_right(store, unit_key)
    except UserError:
        unit_row(store, unit_key)
        return "", []


def changes(store: Database, unit_key: str) -> tuple[str, list[Difference]]:
    """Before and after work in words and numbers; ("", []) where there aren't two such reviews."""
    try:
        first, second = _either_side(store, unit_key)
    except UserError:
        unit_row(store, unit_key)
        return "", []
    return f"{second} less {first}", before_and_after(store, unit_key, (first, second))


def frame_of(pairs: Sequence[Difference]) -> pl.DataFrame:
    """One row a difference, with its assessment."""
    import polars as pl

    rows = [{**vars(d), "assessment": d.assessment} for d in pairs]
    return pl.DataFrame(rows, infer_schema_length=None)
