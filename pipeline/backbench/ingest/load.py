"""Planned reviews and their staged rows into the database, in one transaction."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import metadata
from pathlib import Path
from platform import python_version

import polars as pl

from backbench.documents.specifications import limit_columns
from backbench.documents.stimuli import analysis_kind
from backbench.documents.unit_facts import Unit
from backbench.ingest.analysis_plan import PlannedCapture, PlannedReview
from backbench.ingest.derive import derive_reviews
from backbench.ingest.entered_rows import entered_rows
from backbench.ingest.incremental import derived_with
from backbench.ingest.reading_rows import Row, canonical, digest
from backbench.ingest.review_tables import ANALYSIS_TABLES, WRITTEN_TABLES
from backbench.metrics.registry import registry
from backbench.storage.database import Database
from backbench.test_points.assign import assign_points
from backbench.test_points.scope import chosen_reviews
from backbench.test_points.values_at_points import units_of

BATCH_BYTES = 32 << 20
"""Of staged rows that one statement takes: it holds lists, as those of curves, several times."""
PACKAGES = ("backbench", "numpy", "scipy", "soundfile")


@cache
def environment() -> dict[str, str]:
    """Versions that numbers depend on."""
    import soundfile

    versions = {name: metadata.version(name) for name in PACKAGES}
    return versions | {
        "python": python_version(),
        "libsndfile": soundfile.__libsndfile_version__,
    }


@dataclass(frozen=True)
class Staged:
    """A planned review with all its rows staged.

    fresh: analysis keys whose rows are in the chunks.
    anew: the database holds nothing of this review yet.
    """

    planned: PlannedReview
    fresh: Sequence[str]
    chunks: Sequence[Path]
    anew: bool

    @property
    def key(self) -> str:
        return self.planned.key


def load_reviews(
    store: Database, reviews: Sequence[Staged], taken: Callable[[], None] = lambda: None
) -> None:
    """Make the database say what the plans say: all of it, or nothing.

    taken is called when every row has been taken, before the transaction is committed.

    Rows of analyses that a plan no longer asks for go; staged ones come; rows across captures
    are derived anew; test points are assigned. Statements cost more than rows, so that many
    reviews are loaded in little more time than one.
    """
    keys = [review.key for review in reviews]
    with store.transaction():
        ended = _ended(store, reviews)
        units_before = units_of(store, keys)
        for review in reviews:
            if not review.anew:
                _drop_stale(store, review.planned, review.fresh)
        chunks = [chunk for review in reviews for chunk in review.chunks]
        for table in ("reading", "curve"):
            for files in in_batches([chunk / f"{table}.parquet" for chunk in chunks]):
                store.load_parquet(table, files)
        environment_key = _insert_environment(store)
        for table, rows in _rows(reviews, environment_key, ended).items():
            store.append(table, rows)
        derive_reviews(store, keys, environment_key)
        assign_points(store, keys, units_before)
        taken()


def in_batches(files: Sequence[Path]) -> Iterator[list[Path]]:
    """Files in their order, in batches of at most BATCH_BYTES or of one file that is larger."""
    batch: list[Path] = []
    held = 0
    for file in files:
        size = file.stat().st_size
        if batch and held + size > BATCH_BYTES:
            yield batch
            batch, held = [], 0
        batch, held = [*batch, file], held + size
    if batch:
        yield batch


def _rows(reviews: Sequence[Staged], environment_key: str, ended: Ended) -> dict[str, list[Row]]:
    """Everything but what was staged, by table."""
    tables: dict[str, list[Row]] = {}
    for review in reviews:
        planned = review.planned
        for part in (
            _facts(planned),
            _analyses(planned, review.fresh, environment_key),
            {"capture": [_capture(planned.key, c, ended) for c in planned.captures]},
            entered_rows(planned, environment_key),
            {"refused_entry": _refused(planned)},
        ):
            for table, rows in part.items():
                tables.setdefault(table, []).extend(rows)
    return tables


def _drop_stale(store: Database, planned: PlannedReview, fresh: Sequence[str]) -> None:
    """Keep only the rows of analyses that stand in the plan; all else is written again."""
    again = set(fresh)
    planned_analyses = [capture.analysis_key for capture in planned.captures]
    kept = [key for key in planned_analyses if key not in again]
    for table in ANALYSIS_TABLES:
        store.run(
            f"DELETE FROM {table} WHERE review_key = $review "
            "AND NOT list_contains($kept::VARCHAR[], analysis_key)",
            {"review": planned.key, "kept": kept},
        )
    for table in WRITTEN_TABLES:
        store.run(f"DELETE FROM {table} WHERE review_key = ?", [planned.key])


def _facts(planned: PlannedReview) -> dict[str, list[Row]]:
    review, receipt = planned.manifest.review, planned.receipt
    row: Row = {
        "review_key": review.key, "reviewed": review.date, "bench_key": review.bench,
        "mains_hz": review.mains_hz, "title": review.title, "notes": review.notes,
        "temperature_c": review.temperature_c, "manifest_sha256": receipt.manifest,
        "receipt": receipt.number, "derived_with": derived_with(planned.manifest),
    }  # fmt: skip
    units = planned.manifest.unit
    return {
        "review": [row],
        "appearance": [_appearance(review.key, n, unit) for n, unit in enumerate(units, start=1)],
        "heard": [
            {
                "review_key": review.key,
                "unit_key": unit.key,
                "listening": unit.listening,
                "tags": list(dict.fromkeys(unit.tags)),
            }
            for unit in units
            if unit.listening or unit.tags
        ],
        "published": [row for unit in units for row in _published(review.key, unit)],
        "computed_with": [
            {"review_key": review.key, "input_range": name, "terms": terms}
            for name, terms in planned.terms
        ],
    }


def _appearance(review_key: str, position: int, unit: Unit) -> Row:
    first, last = unit.made_range
    price = unit.list_price
    return {
        "review_key": review_key, "unit_key": unit.key, "position": position,
        "maker": unit.maker, "model": unit.model, "serial": unit.serial, "kind": unit.kind,
        "technology": unit.technology, "topology": unit.topology,
        "made_first": first, "made_last": last, "state": unit.state, "work": unit.work,
        "rated_power_w": unit.rated_power_w,
        "price_amount": price.amount if price else None,
        "price_currency": price.currency if price else None,
        "price_year": price.year if price else None,
        "notes": unit.notes,
    }  # fmt: skip


def _refused(planned: PlannedReview) -> list[Row]:
    """Entries of the manifest that were left out."""
    return [
        {"review_key": planned.key, "kind": entry.table, "position": entry.position,
         "name": entry.name, "reason": entry.reason}
        for entry in planned.manifest.refused
    ]  # fmt: skip


def _published(review_key: str, unit: Unit) -> list[Row]:
    """A unit's specifications as rows."""
    return [
        {
            "review_key": review_key,
            "unit_key": unit.key,
            "position": position,
            **limit_columns(figure, registry().metrics[figure.metric].unit),
        }
        for position, figure in enumerate(unit.published, start=1)
    ]


def _insert_environment(store: Database) -> str:
    versions = environment()
    key = digest(versions)
    store.run(
        "INSERT INTO environment SELECT $key, $packages WHERE NOT EXISTS "
        "(FROM environment WHERE environment_key = $key)",
        {"key": key, "packages": canonical(versions)},
    )
    return key


def _analyses(
    planned: PlannedReview, fresh: Sequence[str], environment_key: str
) -> dict[str, list[Row]]:
    """Analyses of captures, with what they came from. Kept ones keep their environment."""
    wanted = set(fresh)
    links = {
        (capture.analysis_key, sha256): None
        for capture in planned.captures
        for sha256 in _originals(capture)
    }
    return {
        "analysis": [
            {
                "analysis_key": capture.analysis_key, "review_key": planned.key,
                "calibration_key": _calibration_key(capture), "environment_key": environment_key,
            }
            for capture in planned.captures
            if capture.job and capture.analysis_key in wanted
        ],
        "analysis_capture": [
            {"analysis_key": key, "review_key": planned.key, "sha256": sha256}
            for key, sha256 in links
        ],
    }  # fmt: skip


def _calibration_key(capture: PlannedCapture) -> str | None:
    calibration = capture.job.source.calibration if capture.job else None
    return calibration.key if calibration else None


def _originals(capture: PlannedCapture) -> list[str]:
    if capture.job is None:
        return []
    jobs = [capture.job, *capture.job.benches]
    sources = [source for job in jobs for source in (job.source, job.reference)]
    return [source.sha256 for source in sources if source]


Ended = dict[tuple[str, str], tuple[str, str | None]]
"""How each analysis ended, and why it failed where it did; by review and analysis."""


def _ended(store: Database, reviews: Sequence[Staged]) -> Ended:
    """How analyses ended: staged now, or as it stood before."""
    chosen, values = chosen_reviews([review.key for review in reviews if not review.anew])
    before = store.rows(
        f"SELECT review_key, analysis_key, status, reason FROM capture WHERE {chosen}", values
    )
    ended: Ended = {(review, key): (status, reason) for review, key, status, reason in before}
    for review in reviews:
        for chunk in review.chunks:
            for row in pl.read_parquet(chunk / "result.parquet").iter_rows(named=True):
                ended[review.key, row["analysis_key"]] = (row["status"], row["reason"])
    return ended


def _capture(review_key: str, planned: PlannedCapture, ended: Ended) -> Row:
    conditions, stimulus = planned.conditions, planned.capture.stimulus
    failed = ("failed", planned.reason)
    status, reason = failed if planned.job is None else ended[review_key, planned.analysis_key]
    return {
        "review_key": review_key, "position": planned.position, "file": planned.capture.file,
        "sha256": planned.sha256, "bytes": planned.bytes,
        "stimulus": analysis_kind(stimulus), "stimulus_json": canonical(stimulus.identity()),
        "loop_back": planned.capture.loop_back,
        "load_ohm": conditions.load_resistance, "load_kind": conditions.load_kind,
        "input": conditions.input, "tap": conditions.tap, "volume": conditions.volume,
        "controls": conditions.controls, "input_range": conditions.range,
        "driven": conditions.driven, "supply_vrms": conditions.supply_vrms,
        "minutes_on": conditions.minutes_on, "notes": planned.capture.notes,
        "analysis_key": planned.analysis_key, "status": status, "reason": reason,
    }  # fmt: skip
