"""Differences between two sets of readings: before and after, two samples, left and right.

What one calibration gives to both sides cancels; what another session would give is part of each
side's uncertainty, but where both are outputs of one unit in one session.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from backbench.statistics.shared_uncertainty import (
    Uncertainty,
    coverage_factor,
    of_difference,
)

if TYPE_CHECKING:
    import polars as pl

LOAD_WITHIN = 0.05
STATED = ("input", "tap", "volume", "driven")
"""Conditions of a reading in words, which make it another quantity where they differ."""
Key = tuple[Any, ...]


@dataclass(frozen=True)
class Difference:
    """Second less first, in the metric's unit, with the standard uncertainty of the difference.

    beyond: its size over its expanded uncertainty (95.45 %): above 1 it is significant; None where
    an uncertainty is unknown or a side is a bound that could lie on the other side. output: where
    both sides have the same. detail: further conditions of both, canonical JSON.
    session_default: the spread between sessions in its uncertainty is the metric's stated default.
    point: the test point's title. entered: a side was typed from an old record. one_sided:
    conditions that only one side states, so that they can't be known to be equal.
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
    point: str = ""
    entered: bool = False
    one_sided: tuple[str, ...] = ()

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
    return not unequal_conditions(a, b)


def unequal_conditions(a: Mapping[str, Any], b: Mapping[str, Any]) -> list[str]:
    """The names of the conditions that both sides state, and not alike."""
    unequal = []
    for name in STATED:
        stated = [_stated(row, name) for row in (a, b) if row.get(name) is not None]
        if len(set(stated)) > 1:
            unequal.append(name)
    loads = [row["load_ohm"] for row in (a, b) if row.get("load_ohm")]
    if len(loads) == 2 and abs(math.log(loads[0] / loads[1])) > LOAD_WITHIN:
        unequal.append("load_ohm")
    return unequal


def _stated(row: Mapping[str, Any], name: str) -> str:
    """A condition in words. Of the output driven alone only whether it is the reading's own: left
    with left driven is like right with right driven."""
    if name == "driven":
        return "own" if row["driven"] == row["output"] else "another"
    return str(row[name]).strip().lower()


def _one_sided(a: Mapping[str, Any], b: Mapping[str, Any]) -> tuple[str, ...]:
    return tuple(name for name in STATED if (a.get(name) is None) != (b.get(name) is None))


def _key(row: Mapping[str, Any], by_output: bool) -> Key:
    output = row["output"] if by_output else None
    return (
        row["metric"], row["point_key"], row["order_n"], row["limit_percent"],
        row["own_frequency_hz"], row["detail"], row.get("against"), output,
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
        point=a.get("point") or "",
        entered="entered" in (a.get("status"), b.get("status")),
        one_sided=_one_sided(a, b),
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
    record = row["uncertainty"] if row["estimation"] is None else row["estimation"]
    own = math.hypot(record, row.get("offset_u") or 0.0)
    return Uncertainty(own, row["shared_u"], row["shared_with"], row["dof"])


def _beyond(difference: float, u: float, dof: float | None) -> float:
    if u == 0:
        return math.inf if difference else 0.0
    return abs(difference) / (coverage_factor(dof) * u)


def _open(a: Mapping[str, Any], b: Mapping[str, Any], difference: float) -> bool:
    """Whether a bound leaves open that the difference is smaller or of the other sign."""
    larger, smaller = (b, a) if difference > 0 else (a, b)
    return bool(larger["bound"] == "upper" or smaller["bound"] == "lower")


def frame_of(pairs: Sequence[Difference]) -> pl.DataFrame:
    """One row a difference, with its assessment."""
    import polars as pl

    rows = [{**vars(d), "assessment": d.assessment} for d in pairs]
    return pl.DataFrame(rows, infer_schema_length=None)
