"""Figures that were computed before the settings of their bench were corrected.

A correction of `backbench.toml` changes no figure by itself: `backbench recompute` does. Until
then every figure that rests on the corrected terms is marked.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from backbench.comparison.kept_terms import KeptTerms, terms_now
from backbench.quantities.counts import counted
from backbench.storage.database import Database
from backbench.storage.light_rows import LightRows

if TYPE_CHECKING:
    import polars as pl

    from backbench.documents.settings import Settings

REMEDY = "`backbench recompute` brings them up to date"
MARK = "computed before the bench's settings were corrected"
"""What a single figure that is stale says of itself."""

COMPUTED = """
SELECT review_key, bench_key, reviewed, input_range, terms
FROM computed_with JOIN review USING (review_key)
WHERE $review = '' OR review_key = $review
ORDER BY review_key, input_range
"""

RESTING = """
SELECT DISTINCT review_key, analysis_capture.analysis_key
FROM analysis_capture
JOIN capture USING (review_key, sha256)
JOIN (SELECT unnest($reviews) AS review_key, unnest($ranges) AS stale_range) USING (review_key)
WHERE NOT ends_with(capture.stimulus, ' table')
  AND stale_range IN (coalesce(input_range, ''), stimulus_json ->> '$.reference_range')
"""


@dataclass(frozen=True)
class Stale:
    """What is out of date: reviews with the terms that were corrected, and their analyses."""

    reviews: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    analyses: frozenset[tuple[str, str]] = frozenset()

    def has(self, review_key: str, analysis_key: str | None) -> bool:
        """Whether a figure rests on terms that were corrected since."""
        return (review_key, analysis_key) in self.analyses

    def sentence(self, review_key: str) -> str:
        """What is out of date in a review, and the command that mends it; "" where nothing is."""
        what = self.reviews.get(review_key)
        if not what:
            return ""
        return f"figures of {review_key} are out of date: {'; '.join(what)}; {REMEDY}"


TermsNow = Callable[[str, dt.date, "str | None"], "str | None"]
"""What the settings say now of a bench, for a day and an input range; None where nothing."""


def stale_figures(store: Database, settings: Settings, review_key: str = "") -> Stale:
    """What is out of date in one review, or in all of them, by the settings as they are now."""
    return _stale(store, partial(terms_now, settings), review_key)


def stale_in(
    store: Database, root: Path, settings: Callable[[], Settings], review_key: str = ""
) -> Stale:
    """The same of the catalogue in a folder; its settings are read only where that is needed."""
    terms = KeptTerms(root, settings)
    stale = _stale(store, terms, review_key)
    terms.keep()
    return stale


def _stale(store: Database, terms: TermsNow, review_key: str) -> Stale:
    computed = store.rows(COMPUTED, {"review": review_key})
    corrected = [
        (review, input_range, text)
        for review, bench, day, input_range, before in computed
        if (text := _corrected(bench, day, input_range, before, terms))
    ]
    if not corrected:
        return Stale()
    found = store.rows(RESTING, {
        "reviews": [review for review, _, _ in corrected],
        "ranges": [input_range for _, input_range, _ in corrected],
    })  # fmt: skip
    reviews: dict[str, tuple[str, ...]] = {}
    for review, _, text in corrected:
        reviews[review] = (*reviews.get(review, ()), text)
    return Stale(reviews, frozenset((str(review), str(key)) for review, key in found))


# Reviews that an answer without them draws on: those of the state that heads each unit.
NEWEST = """
SELECT unit_key, list(review_key) AS reviews FROM unit_period WHERE standing GROUP BY unit_key
"""


def of_answer(store: Database, stale: Stale, result: LightRows | pl.DataFrame) -> str:
    """Of how many units of a saved query's answer figures are out of date; "" where of none."""
    if not stale.reviews or "unit_key" not in result.columns:
        return ""
    answer = LightRows.of(result)
    if "review_key" in answer.kinds:
        pairs = {*zip(answer.values("unit_key"), answer.values("review_key"), strict=True)}
        touched = {unit for unit, review in pairs if review in stale.reviews}
    else:
        reviews = dict(store.rows(NEWEST))
        units = {*answer.values("unit_key")} - {None}
        touched = {u for u in units if stale.reviews.keys() & set(reviews.get(u, ()))}
    if not touched:
        return ""
    return f"figures of {counted(len(touched), 'unit')} may be out of date: {MARK}"


def _corrected(bench: str, day: dt.date, input_range: str, before: str, terms: TermsNow) -> str:
    """In words what was corrected of a bench since a review was computed; "" where nothing was."""
    named = f"bench {bench}" + (f", range {input_range}" if input_range else "")
    now = terms(bench, day, input_range or None)
    if now is None:
        return f"the settings hold no calibration of {named} for {day} any more"
    if now == before:
        return ""
    return f"{', '.join(_changed(before, now))} of {named} corrected since"


def _changed(before: str, now: str) -> Iterator[str]:
    old, new = json.loads(before), json.loads(now)
    if any(old[name] != new[name] for name in ("since", "volts", "relative")):
        yield "calibration"
    for name in ("load", "generator"):
        if old[name] != new[name]:
            yield f"uncertainty of the {name}"
