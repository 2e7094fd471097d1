"""One side of a comparison of two, as it is typed: a unit, a review, or a unit in one of them."""

from __future__ import annotations

from dataclasses import dataclass

from backbench.comparison.peers import refuse_unknown
from backbench.comparison.verdicts import newest_review
from backbench.errors import Fault, UserError
from backbench.querying.saved_queries import not_found
from backbench.storage.database import Database


@dataclass(frozen=True)
class Side:
    """A unit as it is now (review_key None), or as one review found it."""

    unit_key: str
    review_key: str | None


PERIODS = """
SELECT review_key, state FROM unit_period
WHERE unit_key = $unit ORDER BY reviewed DESC, review_key DESC
"""


def side(store: Database, text: str) -> Side:
    """The side that a text names: UNIT, REVIEW, UNIT@REVIEW or UNIT@STATE (its newest review).

    Raises UserError for what the catalogue doesn't know, and for a review of several units.
    """
    unit, at, which = (part.strip() for part in text.partition("@"))
    if at:
        return Side(unit, review_of(store, unit, which))
    units = _units_in(store, unit)
    if not units:
        refuse_unknown(store, unit)
        return Side(unit, None)
    if len(units) > 1:
        choices = ", ".join(f"{key}@{unit}" for key in units)
        fault = Fault(unit, f"a review of {len(units)} units", f"one of {choices}")
        raise UserError("a side isn't one unit", [fault])
    return Side(units[0], unit)


def in_its_review(store: Database, chosen: Side) -> Side:
    """The side in a review: for a unit as it is now, the one that heads it."""
    if chosen.review_key is not None:
        return chosen
    refuse_unknown(store, chosen.unit_key)
    return Side(chosen.unit_key, newest_review(store, chosen.unit_key))


UNITS_IN = """
SELECT unit_key FROM appearance
WHERE review_key = $key AND $key NOT IN (SELECT unit_key FROM appearance) ORDER BY unit_key
"""


def _units_in(store: Database, review_key: str) -> list[str]:
    """The units of a review; none where no review, or a unit too, has this key."""
    rows = store.rows(UNITS_IN, {"key": review_key})
    return [str(key) for (key,) in rows]


def review_of(store: Database, unit_key: str, which: str) -> str:
    """The review of a unit that a key or a state names: of a state its newest.

    Raises UserError for an unknown unit, review or state.
    """
    refuse_unknown(store, unit_key)
    rows = store.rows(PERIODS, {"unit": unit_key})
    wanted = which.lower().replace("-", " ")
    for key, state in rows:
        if key == which or state == wanted:
            return str(key)
    known = [str(part) for key, state in rows for part in (key, state)]
    raise UserError("no such review or state", [not_found(unit_key, which, known, "review")])
