"""What the pages of many reviews will ask the catalogue for, asked in a few statements before.

A statement that is missing here, or is asked with other parameters, is run when it is asked: that
takes longer and changes nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from backbench.comparison import compared_sides, peers, verdicts
from backbench.comparison.chosen_sides import UNITS_IN
from backbench.comparison.earlier_states import OTHER_STATE
from backbench.ingest.outcomes import outcome_statements
from backbench.publish import reading_tables, sheet_content
from backbench.publish.site_data import SiteData
from backbench.querying.saved_queries import IS_KEY, SavedQuery
from backbench.storage.answers_ahead import AnswersAhead, Values

DRAWN = [name for name, _ in (*sheet_content.PICTURES, *sheet_content.CHANGE_PICTURES)]
"""Saved queries that are asked of one unit after the other."""


def foresee(store: AnswersAhead, site_data: SiteData, reviews: Sequence[str]) -> None:
    """Ask for what the sheets of these reviews and the pages of their units say."""
    appearances = [row for key in reviews for row in site_data.units_in(key)]
    pairs: list[Values] = [{"review": r["review_key"], "unit": r["unit_key"]} for r in appearances]
    units = list(dict.fromkeys(str(row["unit_key"]) for row in appearances))
    if not pairs:
        return
    store.keep_rows(peers.UNIT_KEYS)
    store.foresee_rows(IS_KEY["unit"], [{"key": key} for key in units])
    _of_reviews(store, reviews)
    _of_units(store, units)
    for sql in (sheet_content.ABSENT, sheet_content.HEARD):
        store.foresee_rows(sql, pairs)
    store.foresee_frames(reading_tables.READINGS, pairs, reading_tables.left_out())
    _of_several_reviews(store, site_data, units)
    newest = {key: str(site_data.units[key]["review_key"]) for key in units}
    heading: list[Values] = [{"unit": unit, "review": key} for unit, key in newest.items()]
    for sql in (compared_sides.OUTPUTS, compared_sides.OTHER_SIDE):
        store.foresee_rows(sql, heading)


def _of_reviews(store: AnswersAhead, reviews: Sequence[str]) -> None:
    each: list[Values] = [{"review": key} for key in reviews]
    store.foresee_frames(sheet_content.CAPTURES, each)
    for sql in (sheet_content.METHODS, sheet_content.CALIBRATIONS, sheet_content.PACKAGES):
        store.foresee_rows(sql, each)
    for sql in outcome_statements(reviews[:1], of_views=True):
        store.foresee_rows(sql, [{"reviews": [key]} for key in reviews])


def _of_units(store: AnswersAhead, units: Sequence[str]) -> None:
    each: list[Values] = [{"unit": key} for key in units]
    for sql in (compared_sides.AROUND_WORK, OTHER_STATE,
                verdicts.NEWEST_REVIEW):  # fmt: skip
        store.foresee_rows(sql, each)
    store.foresee_rows(UNITS_IN, [{"key": key} for key in units])
    store.foresee_frames(compared_sides.ROWS, each, {"as_set": compared_sides.as_set()})


def _of_several_reviews(store: AnswersAhead, site_data: SiteData, units: Sequence[str]) -> None:
    """What each review found of the units that have more than one: they are held together."""
    reviewed = [site_data.reviews_of(key) for key in units]
    each: list[Values] = [
        {"review": row["review_key"], "unit": row["unit_key"]}
        for rows in reviewed
        if len(rows) > 1
        for row in rows
    ]
    if each:
        store.foresee_frames(compared_sides.OF_REVIEW, each, {"as_set": compared_sides.as_set()})


def foresee_pictures(
    store: AnswersAhead, queries: Mapping[str, SavedQuery], units: Collection[str]
) -> None:
    """Ask for the answers that the charts of these units show."""
    for name in DRAWN:
        if name in queries and units:
            given = queries[name].bound({})
            del given["unit"]
            store.foresee_frames(queries[name].sql, [{"unit": key} for key in units], given)
