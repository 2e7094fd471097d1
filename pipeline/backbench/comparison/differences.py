"""Differences between two sets of readings: before and after, two samples, left and right.

Uncertainties of the two sides are combined as if independent. What both share (one bench, one
calibration) would cancel, so a difference is called significant later rather than sooner.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from backbench.comparison.peers import unit_row
from backbench.errors import Fault, UserError
from backbench.metrics.registry import registry
from backbench.storage.database import Database

if TYPE_CHECKING:
    import polars as pl

Key = tuple[Any, ...]
COVERAGE = 2.0


@dataclass(frozen=True)
class Difference:
    """Second less first, in the metric's unit, with the standard uncertainty of the difference.

    beyond: its size over its expanded uncertainty (k = 2): above 1 it is significant; None where
    an uncertainty is unknown or a side is a bound that could lie on the other side. output: where
    both sides have the same. detail: further conditions of both, canonical JSON.
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

    by_output: whether the output must be the same too. Sorted by how far a difference is beyond
    its uncertainty; those without an assessment come last.
    """
    left = {_key(row, by_output): row for row in first}
    right = {_key(row, by_output): row for row in second}
    pairs = [_difference(left[key], right[key]) for key in left if key in right]
    return sorted(pairs, key=_order)


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
    known = a["uncertainty"] is not None and b["uncertainty"] is not None
    u = math.hypot(a["uncertainty"], b["uncertainty"]) if known else None
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
        beyond=None if u is None or _open(a, b, difference) else _beyond(difference, u),
        output=a["output"] if a["output"] == b["output"] else "",
        own_frequency_hz=a["own_frequency_hz"],
        detail=a["detail"],
    )


def _beyond(difference: float, u: float) -> float:
    if u == 0:
        return math.inf if difference else 0.0
    return abs(difference) / (COVERAGE * u)


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
SELECT
    reading.*, reading_point.point_key, metric.title, metric.unit, metric.better,
    CASE WHEN test_point.frequency_hz IS NULL AND order_n IS NULL THEN reading.frequency_hz END
        AS own_frequency_hz
FROM reading
JOIN reading_point USING (reading_key, review_key)
JOIN test_point USING (point_key)
JOIN metric USING (metric, method_version)
WHERE reading.review_key = $review AND unit_key = $unit AND value IS NOT NULL
  AND NOT list_contains($as_set, metric)
ORDER BY point_key, metric, output, reading_key
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
    rows = store.rows(
        "SELECT review_key, state FROM appearance JOIN review USING (review_key) "
        "WHERE unit_key = $unit ORDER BY reviewed, review_key",
        {"unit": unit_key},
    )
    before = [key for key, state in rows if state == "as received"]
    after = [key for key, state in rows if state != "as received"]
    if not before or not after:
        states = ", ".join(f"{key}: {state}" for key, state in rows)
        fault = Fault(unit_key, states, "a review as received and one in a later state")
        raise UserError("there is no before and after", [fault])
    return str(before[0]), str(after[-1])


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
