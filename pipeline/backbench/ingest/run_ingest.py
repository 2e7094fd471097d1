"""Ingest, recompute and rebuild as plain functions of a catalogue's places.

Each review goes the same way: planned, its stale captures analysed in chunks, loaded whole.
The three differ in where the plans come from and in which database they load.
"""

from __future__ import annotations

import itertools
import shutil
import tempfile
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from backbench.errors import Fault, UserError
from backbench.ingest.analysis_plan import PlannedReview, plan_review
from backbench.ingest.incremental import Work, passes, standing, work_of
from backbench.ingest.load import Staged, environment, load_reviews
from backbench.ingest.outcomes import ReviewOutcome, review_outcomes
from backbench.ingest.receive import WrittenReview, recall, receive
from backbench.ingest.recording_dates import dates_in_doubt, days_written
from backbench.ingest.reference_tables import sync_reference
from backbench.ingest.seldom_collected import collected_seldom
from backbench.ingest.withdrawn import drop_withdrawn
from backbench.ingest.worker_pool import Workers
from backbench.progress import Progress
from backbench.storage.catalogue_paths import REBUILDING, CataloguePaths
from backbench.storage.database import OutOfMemory, reading, take_place, writing
from backbench.storage.fault_injection import reached
from backbench.storage.settings_history import keep_settings
from backbench.storage.unfinished import note_finished, note_unfinished

LEAST_GROUP, LARGEST_GROUP = 16, 48
"""Reviews loaded in one transaction: its statements cost as much as the rows of a dozen reviews,
but memory rises with each."""


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
    """A review that was not ingested, with every fault; what the database held of it stands."""

    source: str
    error: UserError


Ended = Outcome | Refused
"""How one review ended."""


def apart(ended: Sequence[Ended]) -> tuple[list[Outcome], list[Refused]]:
    """Those that were ingested, and those that were not."""
    outcomes = [one for one in ended if isinstance(one, Outcome)]
    return outcomes, [one for one in ended if isinstance(one, Refused)]


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


def recalled(
    places: CataloguePaths, only: Collection[str] | None = None
) -> Iterator[PlannedReview | Refused]:
    """Plan every review of the ledger, or only some, by its newest receipt."""
    settings = places.settings
    for receipt in places.ledger.newest().values():
        if receipt.withdrawn is not None or (only is not None and receipt.review not in only):
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


def in_groups(works: list[Work]) -> Iterator[list[Work]]:
    """Works in the groups that are loaded together; the list is emptied, group by group.

    Half of what is left each time: while one is loaded the next is analysed, and after the last
    there is nothing more to do meanwhile. Plans take memory, so that none outlives its loading.
    """
    while works:
        left = len(works)
        size = min(max(left // 2, LEAST_GROUP), LARGEST_GROUP)
        size = left if left - size < LEAST_GROUP // 2 else size
        group, works[:size] = works[:size], []
        yield group


Collected = tuple[Work, Sequence[Path] | Refused]
"""A review's work with its staged chunks, or why there are none."""


def collected(workers: Workers, work: Work) -> Collected:
    """The work with its staged chunks. Raises OSError where they can't be written.

    Any other failure costs the one review that it came with.
    """
    try:
        return work, workers.collect(work)
    except OSError:
        raise
    except Exception as error:
        return work, refusal(work, error)


def refusal(work: Work, error: Exception) -> Refused:
    """A review that can't be measured or loaded, by its key."""
    key = work.planned.key
    return Refused(key, error if isinstance(error, UserError) else unexpected(error, key))


@collected_seldom()
def finish(places: CataloguePaths, group: Sequence[Collected]) -> list[Ended]:
    """Load the reviews in one transaction, write their receipts, clear their staged rows away.

    A review whose rows can't be loaded is refused without a receipt; it costs no other.
    """
    refused = {work.planned.key: one for work, one in group if isinstance(one, Refused)}
    staged = [(work, one) for work, one in group if not isinstance(one, Refused)]
    ended, more = _loaded(places, [pair for pair in staged if not pair[0].unchanged])
    refused |= more
    standing_still = [work.planned.key for work, _ in staged if work.unchanged]
    if standing_still:
        with reading(places.database) as store:
            ended |= review_outcomes(store, standing_still)
    reached("clear staged")
    for work, _ in group:
        shutil.rmtree(places.staged / work.planned.key, ignore_errors=True)
    return [
        refused.get(work.planned.key) or _outcome(work, ended[work.planned.key])
        for work, _ in group
    ]


def _loaded(
    places: CataloguePaths, group: Sequence[tuple[Work, Sequence[Path]]]
) -> tuple[dict[str, ReviewOutcome], dict[str, Refused]]:
    """Load reviews together or, where that fails, each by itself; how they ended, and those that
    can't be loaded.

    Raises UserError and OSError where it is the disk that fails.
    """
    try:
        return _load_sparingly(places, group), {}
    except (UserError, OSError):
        raise
    except Exception as error:
        if len(group) == 1:
            ((work, _),) = group
            return {}, {work.planned.key: refusal(work, error)}
        ended: dict[str, ReviewOutcome] = {}
        refused: dict[str, Refused] = {}
        for one in group:
            its_end, its_refusal = _loaded(places, [one])
            ended, refused = ended | its_end, refused | its_refusal
        return ended, refused


def _load_sparingly(
    places: CataloguePaths, group: Sequence[tuple[Work, Sequence[Path]]]
) -> dict[str, ReviewOutcome]:
    """Load reviews together, in more memory only where less won't do."""
    if not group:
        return {}
    try:
        return _load_together(places, group, lean=True)
    except OutOfMemory:
        return _load_together(places, group, lean=False)


def _load_together(
    places: CataloguePaths, group: Sequence[tuple[Work, Sequence[Path]]], *, lean: bool
) -> dict[str, ReviewOutcome]:
    """How the reviews ended, once they are loaded.

    Receipts are written when all rows have been taken and before they are committed: nothing
    is receipted that can't be loaded, and nothing is loaded that has no receipt.
    """
    planned = numbered(places, [work.planned for work, _ in group])
    reviews = [
        Staged(plan, work.fresh, [*work.ready, *chunks], anew=work.standing is None)
        for plan, (work, chunks) in zip(planned, group, strict=True)
    ]

    receipts = {
        plan.key: plan.receipt
        for plan, (work, _) in zip(planned, group, strict=True)
        if plan is not work.planned
    }

    ended: dict[str, ReviewOutcome] = {}

    def taken() -> None:
        ended.update(review_outcomes(store, [plan.key for plan in planned]))
        if receipts:
            note_unfinished(places.ledger.folder, receipts)
        for receipt in receipts.values():
            places.ledger.write(receipt)

    with writing(places.database, lean=lean) as store:
        load_reviews(store, reviews, taken)
    if receipts:
        note_finished(places.ledger.folder, receipts)
    return ended


def numbered(places: CataloguePaths, plans: Sequence[PlannedReview]) -> list[PlannedReview]:
    """The plans with the next numbers on their receipts, where these are drafts."""
    numbers = itertools.count(places.ledger.next_number())
    return [
        plan if plan.receipt.number
        else replace(plan, receipt=replace(plan.receipt, number=next(numbers)))
        for plan in plans
    ]  # fmt: skip


def _outcome(work: Work, ended: ReviewOutcome) -> Outcome:
    computed = len(work.fresh)
    kept = len(work.planned.captures) - computed
    dates = dates_in_doubt(work.planned.manifest, days_written(work.planned.receipt.files))
    ended = replace(ended, dates=tuple(dates))
    return Outcome(work.planned.key, computed, kept, work.unchanged, ended)


def prepare(places: CataloguePaths) -> None:
    """Bring the schema and the reference tables (metrics, benches, test points) up to date.

    A withdrawal that was broken off is carried on.
    """
    keep(places)
    hold_reference(places)


def keep(places: CataloguePaths) -> None:
    """Keep the settings that a run is to be computed with; withdrawn reviews have no rows then."""
    places.database.mkdir(parents=True, exist_ok=True)
    keep_settings(places.root, places.ledger.folder)
    drop_withdrawn(places)


def hold_reference(places: CataloguePaths) -> None:
    """Bring the schema and the reference tables up to date. Nothing that is planned rests on
    these tables, but rows that are loaded do."""
    with writing(places.database) as store:
        sync_reference(store, places.settings)
    # Kept once it is known; those who load are waited for, here nobody is.
    environment()


@collected_seldom()
def planned_work(
    places: CataloguePaths,
    folders: Sequence[Path | WrittenReview] | None,
    begin: Callable[[Work], None] | None = None,
    only: Collection[str] | None = None,
) -> tuple[list[Work], list[Refused]]:
    """What review folders ask for; where there are none, what the ledger asks for.

    only: these reviews of the ledger.
    begin is called with each review's work as soon as it is planned.
    """
    if folders is not None and not folders:
        return [], []
    held = standing(places)
    works: dict[str, Work] = {}
    refused: list[Refused] = []
    plans = recalled(places, only) if folders is None else received(places, folders)
    for item, folder in zip(plans, folders or itertools.repeat(None), strict=False):
        if isinstance(item, Refused):
            refused.append(item)
        else:
            work = work_of(places, item, held.get(item.key))
            read = folder if isinstance(folder, Path) else None
            works[item.key] = replace(work, folder=read)
            if begin is not None:
                begin(works[item.key])
    return list(works.values()), refused


def carry_out(places: CataloguePaths, works: list[Work], workers: Workers) -> list[Ended]:
    """Analyse and load, group by group, without the orchestrator; the list is emptied meanwhile."""
    ended: list[Ended] = []
    for group in in_groups(works):
        ended += finish(places, [collected(workers, work) for work in group])
    return ended


CarryOut = Callable[[CataloguePaths, list[Work], Workers], list[Ended]]


def rebuild(
    places: CataloguePaths,
    processes: int,
    progress: Progress,
    carry_out: CarryOut = carry_out,
    *,
    accept_losses: bool = False,
) -> tuple[list[Outcome], list[Refused]]:
    """Make the database anew from vault, ledger and settings, then put it in the old one's place.

    The outcome of each review, and those that can't be rebuilt. Unless losses are accepted, the
    old database is kept where a review can't be rebuilt, or where a capture's original is missing
    or damaged; where a review can't even be planned, nothing is measured then.
    """
    with tempfile.TemporaryDirectory(prefix=REBUILDING, dir=places.root) as folder:
        aside = replace(places, database=Path(folder))
        prepare(aside)
        works, refused = planned_work(aside, None)
        if refused and not accept_losses:
            return [], refused
        with Workers(aside.staged, processes, progress) as workers:
            for work in works:
                workers.begin(work)
            outcomes, more = apart(carry_out(aside, works, workers))
        if accept_losses or not (more or lost_captures(outcomes)):
            take_place(aside.database, places.root)
    return outcomes, [*refused, *more]


def lost_captures(outcomes: Sequence[Outcome]) -> list[tuple[str, str, str]]:
    """Review, file and reason of every capture whose original is missing or damaged."""
    return [
        (outcome.review, file, reason)
        for outcome in outcomes
        for file, reason in outcome.failed
        if passes(reason)
    ]
