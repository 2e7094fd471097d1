"""The readings of two sides: before and after work, left and right, unit and unit."""

from __future__ import annotations

from typing import Any

from backbench.comparison.chosen_sides import Side, in_its_review, side
from backbench.comparison.differences import Difference, differences
from backbench.comparison.peers import refuse_unknown
from backbench.errors import Fault, UserError
from backbench.metrics.declared_traits import declarations
from backbench.storage.database import Database


def as_set() -> list[str]:
    """Metrics that the reviewer sets: what they differ in is no property of a unit."""
    return [*declarations().having(lambda traits: traits.set_by_reviewer)]


ROWS = """
SELECT placed.*, metric.title, test_point.title AS point
FROM placed
JOIN metric USING (metric)
JOIN test_point USING (point_key)
WHERE unit_key = $unit AND NOT list_contains($as_set, metric)
ORDER BY point_key, metric, output, reading_key
"""

OF_REVIEW = """
SELECT at_point.*, metric.title, test_point.title AS point
FROM at_point
JOIN metric USING (metric)
JOIN test_point USING (point_key)
WHERE review_key = $review AND unit_key = $unit AND NOT list_contains($as_set, metric)
ORDER BY point_key, metric, output, status <> 'entered', reading_key
"""


def _rows(store: Database, sql: str, **values: str) -> list[dict[str, Any]]:
    return store.records(sql, {**values, "as_set": as_set()})


def before_and_after(
    store: Database, unit_key: str, reviews: tuple[str, str] | None = None
) -> list[Difference]:
    """A unit's later review less its earlier one, output by output.

    reviews: their keys; by default the first as received and the newest in another state.
    Raises UserError for an unknown unit, and where there are no such two reviews.
    """
    first, second = reviews or either_side_of_work(store, unit_key)
    return differences(
        rows_of_review(store, unit_key, first),
        rows_of_review(store, unit_key, second),
        by_output=True,
    )


AROUND_WORK = "SELECT before_key, after_key FROM before_after WHERE unit_key = $unit"


def _around_work(store: Database, unit_key: str) -> tuple[str, str] | None:
    """The reviews before and after work, where there are such two. Raises UserError for an
    unknown unit."""
    pair = store.rows(AROUND_WORK, {"unit": unit_key})
    if pair:
        return str(pair[0][0]), str(pair[0][1])
    refuse_unknown(store, unit_key)
    return None


def either_side_of_work(store: Database, unit_key: str) -> tuple[str, str]:
    """The reviews before and after work. Raises UserError where there are no such two."""
    pair = _around_work(store, unit_key)
    if pair is not None:
        return pair
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
    rows = _rows(store, ROWS, unit=unit_key)
    if not rows:
        refuse_unknown(store, unit_key)
    sides = [[row for row in rows if row["output"] == side] for side in ("left", "right")]
    if not all(sides):
        outputs = ", ".join(sorted({row["output"] for row in rows})) or "none"
        fault = Fault(unit_key, f"outputs {outputs}", "readings of left and right",
                      "of two mono units, compare the samples")  # fmt: skip
        raise UserError("there is no left and right", [fault])
    return differences(sides[0], sides[1], by_output=False)


def two_units(store: Database, first: str, second: str) -> list[Difference]:
    """The second side less the first: two units, two reviews or two states of one.

    Each side is a unit's key, a review's key, UNIT@REVIEW or UNIT@STATE (`chosen_sides.side`).
    Where both have the same outputs they are compared by output, else the only output of each.
    Raises UserError for an unknown side, and where both are the same.
    """
    chosen = [side(store, text) for text in (first, second)]
    if chosen[0].unit_key == chosen[1].unit_key:
        chosen = [in_its_review(store, one) for one in chosen]
    if chosen[0] == chosen[1]:
        key = chosen[0].unit_key
        fault = Fault(
            "pair", f"{key} twice", "two different units, reviews or states",
            f"before and after work: backbench before-after {key}; left and right: "
            f"backbench compare {key} --all; two reviews: {key}@REVIEW",
        )  # fmt: skip
        raise UserError("a unit can't be compared with itself", [fault])
    return _of_sides(store, *chosen)


def _of_sides(store: Database, first: Side, second: Side) -> list[Difference]:
    rows = [_of_side(store, one) for one in (first, second)]
    outputs = [{row["output"] for row in one} for one in rows]
    one_unit = first.unit_key == second.unit_key
    same = outputs[0] == outputs[1] and len(outputs[0]) > 1
    return differences(rows[0], rows[1], by_output=one_unit or same)


def _of_side(store: Database, chosen: Side) -> list[dict[str, Any]]:
    if chosen.review_key is None:
        return _rows(store, ROWS, unit=chosen.unit_key)
    return rows_of_review(store, chosen.unit_key, chosen.review_key)


def rows_of_review(store: Database, unit_key: str, review_key: str) -> list[dict[str, Any]]:
    """What one review found of a unit at the test points."""
    return _rows(store, OF_REVIEW, review=review_key, unit=unit_key)


OUTPUTS = (
    "SELECT count(DISTINCT output) FROM reading WHERE unit_key = $unit AND review_key = $review"
)


def outputs_in(store: Database, unit_key: str, review_key: str) -> int:
    """How many outputs a review measured a unit at."""
    ((count,),) = store.rows(OUTPUTS, {"unit": unit_key, "review": review_key})
    return int(count)


OTHER_SIDE = """
SELECT other.unit_key
FROM appearance AS own
JOIN appearance AS other USING (review_key, maker, model)
WHERE own.review_key = $review AND own.unit_key = $unit AND other.unit_key <> $unit
"""


def _other_of_a_pair(store: Database, unit_key: str, review_key: str) -> str | None:
    """The one other unit of the same maker and model in a review; None where there isn't one."""
    rows = store.rows(OTHER_SIDE, {"unit": unit_key, "review": review_key})
    return str(rows[0][0]) if len(rows) == 1 else None


def sides(
    store: Database, unit_key: str, review_key: str, outputs: int
) -> tuple[str, list[Difference]]:
    """Left against right in words and numbers: two outputs, or the two units of a mono pair.

    review_key: the review that heads the unit, outputs: how many it was measured at there; the
    other of a mono pair stands in the same review. ("", []) where there is nothing to hold against.
    """
    other = _other_of_a_pair(store, unit_key, review_key) if outputs == 1 else None
    if other is not None:
        pair = _of_sides(store, Side(unit_key, None), Side(other, None))
        return f"Less {unit_key}: {other}", pair
    try:
        return "Right less left", left_and_right(store, unit_key)
    except UserError:
        return "", []


def changes(store: Database, unit_key: str) -> tuple[str, list[Difference]]:
    """Before and after work in words and numbers; ("", []) where there aren't two such reviews."""
    pair = _around_work(store, unit_key)
    if pair is None:
        return "", []
    first, second = pair
    return f"{second} less {first}", before_and_after(store, unit_key, (first, second))
