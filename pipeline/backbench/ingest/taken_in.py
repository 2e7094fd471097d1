"""Review folders, or what the ledger holds, brought up to date in a locked catalogue."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from backbench.ingest import run_ingest
from backbench.ingest.carry_on import carry_on
from backbench.ingest.receive import WrittenReview
from backbench.ingest.run_ingest import CarryOut, Outcome, Refused
from backbench.ingest.untouched import UntouchedFolders
from backbench.ingest.worker_pool import Workers
from backbench.storage.catalogue_paths import CataloguePaths
from backbench.storage.unfinished import note_finished, unfinished


def taken_in(
    places: CataloguePaths,
    folders: Sequence[Path | WrittenReview] | None,
    workers: Workers,
    started: Callable[[int], None],
    recorded: Callable[[], CarryOut] | None,
) -> tuple[list[Outcome], list[Refused]]:
    """How the reviews of these folders ended, or of the ledger where there are none.

    started gets the number of captures to be analysed. recorded: gives the way that records the
    run, asked for where anything is to be done; None where none is to be recorded.
    """
    run_ingest.keep(places)
    _, left = carry_on(places) if folders is not None else ([], [])
    noted = unfinished(places.ledger.folder)
    known = UntouchedFolders(places)
    before, folders = known.taken_out(folders)
    begin = workers.begin if not recorded or places.settings.engine == "local" else None
    works, refused = run_ingest.planned_work(places, folders, begin)
    if works or refused or not before:
        run_ingest.hold_reference(places)
    known.note(works)
    started(sum(work.jobs for work in works))
    orchestrated = recorded if not all(work.unchanged for work in works) else None
    carry_out = orchestrated() if orchestrated else run_ingest.carry_out
    outcomes, more = run_ingest.apart(carry_out(places, works, workers))
    note_finished(places.ledger.folder, noted)
    return [*before, *outcomes], [*left, *refused, *more]
