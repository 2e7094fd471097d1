"""The review sheet: everything that one review found, on one page."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from backbench.comparison.compared_sides import before_and_after
from backbench.comparison.differences import Difference
from backbench.comparison.stale_figures import Stale
from backbench.comparison.unit_comparison import Comparison
from backbench.comparison.verdicts import Verdict, verdicts
from backbench.documents.kinds import kind_of_unit
from backbench.ingest.outcomes import ReviewOutcome, review_outcomes
from backbench.ingest.review_names import unknown_review
from backbench.publish import finding_sentences
from backbench.publish.difference_tables import left_right_sentence, main_differences
from backbench.publish.reading_tables import TableEntry, battery
from backbench.publish.scorecard import scorecard_picture
from backbench.publish.sheet_charts import ChartRenderer, Picture
from backbench.publish.site_data import Row, SiteData, as_of_review
from backbench.quantities.counts import counted
from backbench.storage.database import Database

MOST_CHANGES = 12
PICTURES = (
    ("distortion-over-power", "Distortion over power"),
    ("harmonics-left-and-right", "Harmonics"),
    ("response-over-peers", "Response"),
    ("idle-spectrum-of-a-unit", "Spectrum at idle"),
    ("separation-over-frequency", "Channel separation over frequency"),
    ("response-by-setting", "Response by setting of the controls"),
    ("balance-over-volume", "Channel balance over the volume control"),
)
"""Saved queries whose charts a sheet shows of a unit, in this order."""
CHANGE_PICTURES = (
    ("response-before-and-after", "Response before and after work"),
    ("distortion-before-and-after", "Distortion before and after work"),
)
"""Saved queries whose charts stand before them where there was work on the unit."""


@dataclass(frozen=True)
class Change:
    """What became of a unit since an earlier review."""

    review_key: str
    reviewed: str
    summary: str
    differences: tuple[Difference, ...]
    more: int


@dataclass(frozen=True)
class Absence:
    """A reason for there being no value, and the metrics that it holds for."""

    reason: str
    metrics: tuple[str, ...]


@dataclass(frozen=True)
class UnitSection:
    """One unit of the review. current: whether this is its newest review."""

    row: Row
    current: bool
    newest: str
    state_sentence: str
    verdicts: tuple[Verdict, ...]
    verdicts_sentence: str
    entries: tuple[TableEntry, ...]
    ranks_sentence: str
    left_right_sentence: str
    pictures: tuple[Picture, ...]
    absences: tuple[Absence, ...]
    missing_sentence: str
    change: Change | None
    listening: tuple[str, ...]
    notes: tuple[str, ...]
    peers_text: str
    sentences: tuple[str, ...] = ()
    heard: str = ""
    tags: tuple[str, ...] = ()
    card: Picture | None = None


@dataclass(frozen=True)
class Provenance:
    """Where every figure of a review comes from."""

    captures: tuple[Row, ...]
    methods: tuple[str, ...]
    calibrations: tuple[str, ...]
    packages: str


@dataclass(frozen=True)
class ReviewSheet:
    """A review as its page shows it."""

    review: Row
    parts: tuple[UnitSection, ...]
    ended: ReviewOutcome
    provenance: Provenance
    tubes: bool
    opened: bool
    out_of_date: str = ""


def review_sheet(
    renderer: ChartRenderer, site_data: SiteData, review_key: str,
    compared: Callable[[str], Comparison], stale: Stale, most_pictures: int = len(PICTURES),
    dates: tuple[str, ...] = (), card: Callable[[str], Picture | None] | None = None,
) -> ReviewSheet:  # fmt: skip
    """The sheet of a review. compared: gives a unit's comparison. most_pictures: of each unit.

    stale: figures that are out of date by the settings as they are now.
    dates: a line for each doubt about the review's date.
    card: gives a unit's scorecard, or what stands in its place; where left out, one is drawn.
    Raises UserError where the review is not known.
    """
    if review_key not in site_data.reviews:
        raise unknown_review(review_key, site_data.reviews)
    rows = site_data.units_in(review_key)
    provenance = _provenance(renderer.store, review_key)
    found = review_outcomes(renderer.store, [review_key], of_views=True)
    ended = replace(found[review_key], dates=dates)
    parts = tuple(
        _part(
            renderer=renderer,
            site_data=site_data,
            row=row,
            compared=compared(row["unit_key"]),
            ended=ended,
            stale=stale,
            most=most_pictures,
            card=card,
        )
        for row in rows
    )
    return ReviewSheet(
        review=site_data.reviews[review_key],
        parts=parts,
        ended=ended,
        provenance=provenance,
        tubes=any(row["technology"] in ("tube", "hybrid") for row in rows),
        opened=any(kind_of_unit(row["kind"]).has_mains for row in rows),
        out_of_date=stale.sentence(review_key),
    )


def _part(
    renderer: ChartRenderer,
    site_data: SiteData,
    row: Row,
    compared: Comparison,
    ended: ReviewOutcome,
    stale: Stale,
    most: int,
    card: Callable[[str], Picture | None] | None,
) -> UnitSection:
    store, review, unit = renderer.store, row["review_key"], row["unit_key"]
    current = compared.review_key == review
    entries = battery(
        store, site_data, review, unit, compared.kind,
        lines=compared.lines, peers=compared.peers, stale=stale,
    )  # fmt: skip
    judged = compared.verdicts if current else tuple(verdicts(store, unit, review))
    drawn = None
    if current:
        drawn = card(unit) if card else scorecard_picture(renderer, site_data, compared)
    heard, tags = _heard(store, review, unit)
    absences, lacking = _absences(store, review, unit), _lacking(renderer, review, unit)
    reasons = {absence.reason: absence.metrics for absence in absences}
    return UnitSection(
        row=row,
        current=current,
        newest=compared.review_key,
        state_sentence=finding_sentences.state_sentence(row["state"], row["work"], row["reviewed"]),
        verdicts=judged,
        verdicts_sentence=finding_sentences.verdicts_sentence(judged),
        entries=tuple(entries),
        ranks_sentence=finding_sentences.ranks_sentence(compared.lines, compared.peers.description)
        if current
        else "",
        left_right_sentence=left_right_sentence(compared) if current else "",
        pictures=tuple(
            _newest_pictures(renderer, row, drawn, most, worked=bool(compared.work[0]))
            if current
            else _own_pictures(renderer, row, most)
        ),
        absences=tuple(absences),
        missing_sentence=finding_sentences.missing_sentence(reasons, ended, lacking),
        change=_change(store, site_data, row),
        listening=compared.listening if current else (),
        notes=compared.notes,
        peers_text=compared.peers.description,
        sentences=compared.sentences if current else (),
        heard=heard,
        tags=tags,
        card=drawn,
    )


def _newest_pictures(
    renderer: ChartRenderer, row: Row, card: Picture | None, most: int, *, worked: bool
) -> list[Picture]:
    """The scorecard, what work changed where there was any, and then the unit's charts."""
    if not most:
        return [card] if card else []
    changed = [
        renderer.draw(query, f"{title}: {row['label']}", unit=row["unit_key"])
        for query, title in CHANGE_PICTURES
        if worked
    ]
    first = [picture for picture in (card, *changed) if picture]
    shown = {picture.digest for picture in first}
    return first + [one for one in _pictures(renderer, row, most) if one.digest not in shown]


def first_picture(renderer: ChartRenderer, row: Row) -> Picture | None:
    """The first chart that a unit has, for where there is room for one alone."""
    for query, title in PICTURES:
        picture = renderer.draw(query, f"{title}: {row['label']}", unit=row["unit_key"])
        if picture:
            return picture
    return None


def _own_pictures(renderer: ChartRenderer, row: Row, most: int) -> list[Picture]:
    """The charts of a review that a later one has followed, from its own readings."""
    if not most:
        return []
    with as_of_review(renderer.store, row["unit_key"], row["review_key"]):
        return _pictures(renderer, row, most, f"review of {row['reviewed']}")


def _pictures(renderer: ChartRenderer, row: Row, most: int, review: str = "") -> list[Picture]:
    """The unit's first charts; those that have nothing to show are left out."""
    pictures: list[Picture] = []
    for query, title in PICTURES[:most]:
        heading = f"{title}: {row['label']}"
        picture = renderer.draw(query, heading, review, unit=row["unit_key"])
        if picture:
            pictures.append(picture)
    return pictures


def _change(store: Database, site_data: SiteData, row: Row) -> Change | None:
    """Against the review of the same unit before this one; None where this is the first."""
    earlier = [
        past
        for past in site_data.reviews_of(row["unit_key"])
        if (past["reviewed"], past["review_key"]) < (row["reviewed"], row["review_key"])
    ]
    if not earlier:
        return None
    past = earlier[0]
    pair = (past["review_key"], row["review_key"])
    differences = main_differences(before_and_after(store, row["unit_key"], pair))
    apart = [d for d in differences if d.assessment != "not significantly different"]
    day = past["reviewed"].isoformat()
    summary = finding_sentences.changes_sentence(
        differences, f"the review of {day} ({past['state']})"
    )
    shown = tuple(apart[:MOST_CHANGES])
    return Change(past["review_key"], day, summary, shown, len(apart) - len(shown))


HEARD = "SELECT listening, tags FROM heard WHERE review_key = $review AND unit_key = $unit"
ABSENT = """
WITH never AS (
    SELECT metric FROM reading WHERE review_key = $review AND unit_key = $unit
    GROUP BY metric HAVING count(value) = 0
)
SELECT reason, list_sort(list_distinct(list(title))) AS metrics
FROM (
    SELECT metric.title, first(coalesce(reason, status) ORDER BY reading_key) AS reason
    FROM reading JOIN never USING (metric) JOIN metric USING (metric)
    WHERE review_key = $review AND unit_key = $unit
    GROUP BY ALL
)
GROUP BY reason
ORDER BY reason
"""


def _absences(store: Database, review_key: str, unit_key: str) -> list[Absence]:
    rows = store.rows(ABSENT, {"review": review_key, "unit": unit_key})
    return [Absence(str(reason), tuple(metrics)) for reason, metrics in rows]


def _heard(store: Database, review_key: str, unit_key: str) -> tuple[str, tuple[str, ...]]:
    """Listening notes and tags of a unit in a review; empty where there are none."""
    rows = store.rows(HEARD, {"review": review_key, "unit": unit_key})
    return (str(rows[0][0] or ""), tuple(rows[0][1])) if rows else ("", ())


def _lacking(renderer: ChartRenderer, review_key: str, unit_key: str) -> list[str]:
    """Parts of the usual battery that were never taken, by the saved query that knows them."""
    return [
        str(row["family"])
        for row in renderer.missing_measurements
        if (row["review_key"], row["unit_key"], row["state"]) == (review_key, unit_key, "absent")
    ]


CAPTURES = """
SELECT position, file, stimulus, sha256, false AS refused FROM capture WHERE review_key = $review
UNION ALL
SELECT position, name, '', NULL, true
FROM refused_entry WHERE review_key = $review AND kind = 'capture'
ORDER BY position
"""
METHODS = """
SELECT DISTINCT title || ' v' || reading.method_version FROM reading JOIN metric USING (metric)
WHERE review_key = $review ORDER BY ALL
"""
CALIBRATIONS = """
SELECT DISTINCT calibration_key FROM analysis
WHERE review_key = $review AND calibration_key IS NOT NULL ORDER BY ALL
"""
PACKAGES = """
SELECT DISTINCT packages_json FROM analysis JOIN environment USING (environment_key)
WHERE review_key = $review ORDER BY ALL
"""


def _provenance(store: Database, review_key: str) -> Provenance:
    key = {"review": review_key}
    packages = [json.loads(text) for (text,) in store.rows(PACKAGES, key)]
    return Provenance(
        tuple(store.frame(CAPTURES, key).iter_rows(named=True)),
        tuple(str(text) for (text,) in store.rows(METHODS, key)),
        tuple(str(text) for (text,) in store.rows(CALIBRATIONS, key)),
        "; ".join(_packages(versions) for versions in packages),
    )


def _packages(versions: Mapping[str, Any]) -> str:
    return ", ".join(f"{name} {version}" for name, version in sorted(versions.items()))


def title_of(sheet: ReviewSheet) -> str:
    """The sheet's heading: the review's own title, or the units that were on the bench."""
    title = sheet.review["title"]
    return str(title) if title else _unit_names([part.row for part in sheet.parts])


def _unit_names(rows: Sequence[Row]) -> str:
    names = list(dict.fromkeys(f"{row['maker']} {row['model']}" for row in rows))
    more = f" ({counted(len(rows), 'unit')})" if len(rows) > len(names) else ""
    return ", ".join(names) + more
