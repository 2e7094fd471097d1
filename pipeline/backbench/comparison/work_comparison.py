"""A unit before and after work: what changed at equal conditions, and what can't be compared."""

from __future__ import annotations

from dataclasses import dataclass

from backbench.comparison.chosen_sides import review_of
from backbench.comparison.compared_sides import either_side_of_work, rows_of_review
from backbench.comparison.differences import Difference, differences
from backbench.comparison.usual_differences import left_out
from backbench.storage.database import Database

SIDES = ("before", "after")


@dataclass(frozen=True)
class WorkComparison:
    """Two reviews of a unit held against each other.

    before, after: their keys. differences: of every quantity that both have under the same
    conditions, output by output, the surest first. left_out: usual quantities without a
    difference, each with the reason.
    """

    unit_key: str
    before: str
    after: str
    differences: tuple[Difference, ...]
    left_out: tuple[str, ...]


def work_comparison(
    store: Database, unit_key: str, reviews: tuple[str | None, str | None] = (None, None)
) -> WorkComparison:
    """A unit's review after work less the one before it.

    reviews: their keys, or states; None: the first as received, and the newest in another state.
    Raises UserError for an unknown unit or review, and where there are no such two reviews.
    """
    usual = either_side_of_work(store, unit_key) if None in reviews else ("", "")
    before, after = (
        review_of(store, unit_key, given) if given else own
        for given, own in zip(reviews, usual, strict=True)
    )
    rows = [rows_of_review(store, unit_key, review) for review in (before, after)]
    found = differences(rows[0], rows[1], by_output=True)
    reasons = left_out(rows[0], rows[1], found, SIDES)
    return WorkComparison(unit_key, before, after, tuple(found), tuple(reasons))
