"""Ingest, recompute and rebuild as plain functions of a catalogue's places.

Each review goes the same way: planned, its stale captures analysed in chunks, loaded whole.
The three differ in where the plans come from and in which database they load.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from backbench.errors import Fault, UserError
from backbench.ingest.analysis_plan import PlannedReview, plan_review
from backbench.ingest.incremental import Work, passes, standing, work_of
from backbench.ingest.load import Staged, load_reviews
from backbench.ingest.outcomes import ReviewOutcome, review_outcomes
from backbench.ingest.receive import WrittenReview, recall, receive
from backbench.ingest.reference_tables import sync_reference
from backbench.ingest.withdrawn import drop_withdrawn
from backbench.ingest.worker_pool import Workers
from backbench.progress import Progress
from backbench.storage.catalogue_paths import REBUILDING, CataloguePaths
from backbench.storage.database import reading, take_place, writing
from backbench.storage.fault_injection import reached
from backbench.storage.settings_history import keep_settings
from backbench.storage.vault import Receipt

GROUP = 16
"""Reviews loaded in one transaction: opening the database costs as much as loading a few."""


@dataclass(frozen=True)
class Outcome:
    """What became of one review: captures analysed now, kept from before, and how all ended."""

    review: str
    computed: int
    kept: int
    unchanged: bool
    ended: ReviewOutcome

    @property
    def failed(self) -> tuple[tuple[str, str], ...]:
        """Captures whose file could not be used, with the reason."""
        return tuple((one.file, one.reason or "") for one in self.ended.in_state("failed"))


@dataclass(frozen=True)
class Refused:
    """A review that was not ingested, with every fault. Nothing of it is in the database."""

    source: str
    error: UserError


def received(
    places: CataloguePaths, folders: Sequence[Path | WrittenReview]
) -> Iterator[PlannedReview | Refused]:
    """Keep the originals of review folders and plan them; a refused one costs no other."""
    settings, newest = places.settings, places.ledger.newest()
    for folder in folders:
        try:
            manifest, receipt = receive(folder, places.vault, newest)
            review = plan_review(manifest, receipt, settings, places.vault)
        except UserError as error:
            yield Refused(str(folder), error)
        except Exception as error:
            yield Refused(str(folder), unexpected(error, str(folder)))
        else:
            newest[review.key] = receipt
            yield review


def recalled(places: CataloguePaths) -> Iterator[PlannedReview | Refused]:
    """Plan every review of the ledger by its newest receipt."""
    settings = places.settings
    for receipt in places.ledger.newest().values():
        if receipt.withdrawn is not None:
            continue
        try:
            yield plan_review(recall(receipt, places.vault), receipt, settings, places.vault)
        except UserError as error:
            yield Refused(receipt.review, error)
        except Exception as error:
            yield Refused(receipt.review, unexpected(error, receipt.review))


def unexpected(error: Exception, where: str) -> UserError:
    """A failure that nobody foresaw costs the one review that it came with."""
    fault = Fault(
        where, f"{type(error).__name__}: {str(error)[:200]}", "a review that can be read",
        "report this message together with the review's folder",
    )  # fmt: skip
    return UserError("the review could not be read", [fault])


def in_groups(works: Sequence[Work]) -> Iterator[Sequence[Work]]:
    """Works in the groups that are loaded together."""
    for first in range(0, len(works), GROUP):
        yield works[first : first + GROUP]


def finish(places: CataloguePaths, group: Sequence[tuple[Work, Sequence[Path]]]) -> list[Outcome]:
    """Write receipts, load the reviews in one transaction, and clear their staged rows away."""
    staged = {
        work.planned.key: Staged(
            _receipted(places, work.planned), work.fresh, [*work.ready, *chunks],
            anew=work.standing is None,
        )
        for work, chunks in group
        if not work.unchanged
    }  # fmt: skip
    if staged:
        with writing(places.database) as store:
            load_reviews(store, list(staged.values()))
    ended: dict[str, ReviewOutcome] = {}
    if group:
        with reading(places.database) as store:
            ended = review_outcomes(store, [work.planned.key for work, _ in group])
    reached("clear staged")
    for work, _ in group:
        shutil.rmtree(places.staged / work.planned.key, ignore_errors=True)
    return [_outcome(work, ended[work.planned.key]) for work, _ in group]


def _outcome(work: Work, ended: ReviewOutcome) -> Outcome:
    computed = len(work.fresh)
    kept = len(work.planned.captures) - computed
    return Outcome(work.planned.key, computed, kept, work.unchanged, ended)


def _receipted(places: CataloguePaths, planned: PlannedReview) -> PlannedReview:
    """The plan with its receipt numbered and on the disk."""
    if planned.receipt.number:
        return planned
    receipt: Receipt = replace(planned.receipt, number=places.ledger.next_number())
    places.ledger.write(receipt)
    return replace(planned, receipt=receipt)


def prepare(places: CataloguePaths) -> None:
    """Bring the schema and the reference tables (metrics, benches, test points) up to date.

    A withdrawal that was broken off is carried on.
    """
    places.database.mkdir(parents=True, exist_ok=True)
    keep_settings(places.root, places.ledger.folder)
    drop_withdrawn(places)
    with writing(places.database) as store:
        sync_reference(store, places.settings)


def planned_work(
    places: CataloguePaths,
    folders: Sequence[Path | WrittenReview] | None,
    begin: Callable[[Work], None] | None = None,
) -> tuple[list[Work], list[Refused]]:
    """What review folders ask for; where there are none, what the whole ledger asks for.

    begin is told each review's work as soon as it is planned.
    """
    held = standing(places)
    works: dict[str, Work] = {}
    refused: list[Refused] = []
    for item in recalled(places) if folders is None else received(places, folders):
        if isinstance(item, Refused):
            refused.append(item)
        else:
            works[item.key] = work_of(places, item, held.get(item.key))
            if begin is not None:
                begin(works[item.key])
    return list(works.values()), refused


def carry_out(places: CataloguePaths, works: Sequence[Work], workers: Workers) -> list[Outcome]:
    """Analyse and load, group by group, without the orchestrator."""
    outcomes: list[Outcome] = []
    for group in in_groups(works):
        outcomes += finish(places, [(work, workers.collect(work)) for work in group])
    return outcomes


CarryOut = Callable[[CataloguePaths, Sequence[Work], Workers], list[Outcome]]


def rebuild(
    places: CataloguePaths,
    processes: int,
    progress: Progress,
    carry_out: CarryOut = carry_out,
    *,
    accept_losses: bool = False,
) -> tuple[list[Outcome], list[Refused]]:
    """Make the database anew from vault, ledger and settings, then put it in the old one's place.

    The outcome of each review, and those that can't be rebuilt. The old database is kept where
    a review can't be rebuilt, or, unless losses are accepted, where a capture's original is
    missing or damaged.
    """
    with tempfile.TemporaryDirectory(prefix=REBUILDING, dir=places.root) as folder:
        aside = replace(places, database=Path(folder))
        prepare(aside)
        works, refused = planned_work(aside, None)
        if refused:
            return [], refused
        with Workers(aside.staged, processes, progress) as workers:
            for work in works:
                workers.begin(work)
            outcomes = carry_out(aside, works, workers)
        if accept_losses or not lost_captures(outcomes):
            take_place(aside.database, places.root)
    return outcomes, []


def lost_captures(outcomes: Sequence[Outcome]) -> list[tuple[str, str, str]]:
    """Review, file and reason of every capture whose original is missing or damaged."""
    return [
        (outcome.review, file, reason)
        for outcome in outcomes
        for file, reason in outcome.failed
        if passes(reason)
    ]
