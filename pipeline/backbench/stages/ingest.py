"""Ingest, recompute and rebuild as plain functions of a catalogue's places.

Each review goes the same way: planned, its stale captures analysed in chunks, loaded in one
transaction. The three differ in where the plans come from and in which database they load.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from backbench.errors import UserError
from backbench.faultpoints import reached
from backbench.stages.load import load_review
from backbench.stages.places import REBUILDING, Places
from backbench.stages.plan import PlannedReview, plan_review
from backbench.stages.receive import WrittenReview, recall, receive
from backbench.stages.reference import sync_reference
from backbench.stages.work import Work, standing, work_of
from backbench.stages.workers import Progress, Workers
from backbench.store import Writer, take_place, writing
from backbench.vault import Receipt


@dataclass(frozen=True)
class Outcome:
    """What became of one review: captures analysed now, kept from before, and failed ones."""

    review: str
    computed: int
    kept: int
    failed: tuple[tuple[str, str], ...]
    unchanged: bool


@dataclass(frozen=True)
class Refused:
    """A review that was not taken in, with every fault. Nothing of it is in the database."""

    source: str
    error: UserError


def nothing(_: int) -> None:
    """No progress is shown."""


def receive_reviews(
    places: Places, folders: Sequence[Path | WrittenReview]
) -> tuple[list[PlannedReview], list[Refused]]:
    """Keep the originals of review folders and plan them; a refused one costs no other."""
    planned: dict[str, PlannedReview] = {}
    refused: list[Refused] = []
    settings, newest = places.settings, places.ledger.newest()
    for folder in folders:
        try:
            manifest, receipt = receive(folder, places.vault, newest)
            review = plan_review(manifest, receipt, settings, places.vault)
            newest[review.key] = receipt
            planned[review.key] = review
        except UserError as error:
            refused.append(Refused(str(folder), error))
    return list(planned.values()), refused


def recall_reviews(places: Places) -> tuple[list[PlannedReview], list[Refused]]:
    """Plan every review of the ledger by its newest receipt."""
    planned: list[PlannedReview] = []
    refused: list[Refused] = []
    settings = places.settings
    for receipt in places.ledger.newest().values():
        if receipt.withdrawn is not None:
            continue
        try:
            manifest = recall(receipt, places.vault)
            planned.append(plan_review(manifest, receipt, settings, places.vault))
        except UserError as error:
            refused.append(Refused(receipt.review, error))
    return planned, refused


def works_of(places: Places, planned: Sequence[PlannedReview]) -> list[Work]:
    """What each planned review asks for, given what the database already holds."""
    held = standing(places)
    return [work_of(places, review, held.get(review.key)) for review in planned]


def finish(places: Places, writer: Writer, work: Work, chunks: Sequence[Path]) -> Outcome:
    """Write the receipt, load the review, and clear its staged rows away."""
    key, computed = work.planned.key, len(work.fresh)
    kept = len(work.planned.captures) - computed
    if work.unchanged and work.standing:
        shutil.rmtree(places.staged / key, ignore_errors=True)
        return Outcome(key, computed, kept, work.standing.failed, unchanged=True)
    planned = _receipted(places, work.planned)
    store = writer.store()
    load_review(store, planned, work.fresh, [*work.ready, *chunks], anew=work.standing is None)
    failed = store.rows(FAILED, [key])
    reached("clear staged")
    shutil.rmtree(places.staged / key, ignore_errors=True)
    return Outcome(key, computed, kept, tuple(failed), unchanged=False)


FAILED = """
SELECT file, reason FROM capture WHERE review_key = ? AND status = 'failed' ORDER BY position
"""


def _receipted(places: Places, planned: PlannedReview) -> PlannedReview:
    """The plan with its receipt numbered and on the disk."""
    if planned.receipt.number:
        return planned
    receipt: Receipt = replace(planned.receipt, number=places.ledger.next_number())
    places.ledger.write(receipt)
    return replace(planned, receipt=receipt)


def prepare(places: Places) -> None:
    """Bring the schema and the reference tables (metrics, benches, test points) up to date."""
    places.database.mkdir(parents=True, exist_ok=True)
    with writing(places.database) as store:
        sync_reference(store, places.settings)


def planned_work(
    places: Places, folders: Sequence[Path | WrittenReview] | None
) -> tuple[list[Work], list[Refused]]:
    """What review folders ask for; where there are none, what the whole ledger asks for."""
    planned, refused = (
        recall_reviews(places) if folders is None else receive_reviews(places, folders)
    )
    return works_of(places, planned), refused


def carry_out(
    places: Places, works: Sequence[Work], processes: int, progress: Progress
) -> list[Outcome]:
    """Analyse and load, review by review, without the orchestrator."""
    outcomes: list[Outcome] = []
    with (
        Workers(works, places.staged, processes, progress) as workers,
        Writer(places.database) as writer,
    ):
        for work in works:
            if not workers.ready(work):
                writer.close()
            outcomes.append(finish(places, writer, work, workers.collect(work)))
    return outcomes


def rebuild(places: Places, processes: int, progress: Progress) -> tuple[int, list[Refused]]:
    """Make the database anew from vault, ledger and settings, then put it in the old one's place.

    The old database stays until the new one is whole. Number of reviews, and those that can't
    be rebuilt. Raises UserError where any review can't: then the old database is kept.
    """
    with tempfile.TemporaryDirectory(prefix=REBUILDING, dir=places.root) as folder:
        aside = replace(places, database=Path(folder))
        prepare(aside)
        works, refused = planned_work(aside, None)
        if refused:
            return 0, refused
        outcomes = carry_out(aside, works, processes, progress)
        take_place(aside.database, places.root)
    return len(outcomes), []
