"""What a command that was broken off had begun is finished by the next one."""

from __future__ import annotations

from backbench.ingest.run_ingest import Refused, apart, carry_out, planned_work, prepare
from backbench.ingest.worker_pool import Workers
from backbench.progress import nothing
from backbench.storage.catalogue_paths import CataloguePaths
from backbench.storage.unfinished import note_finished, unfinished


def carry_on(places: CataloguePaths) -> tuple[list[str], list[Refused]]:
    """Bring the rows of unfinished reviews up to ledger and settings.

    Their keys, and those that were refused: these are not tried again here, but `recompute` does,
    and `verify` names the difference. To be called while the catalogue is locked. Raises
    UserError and OSError where nothing could be done, which is then left to the next command.
    """
    keys = unfinished(places.ledger.folder)
    if not keys:
        return [], []
    prepare(places)
    works, refused = planned_work(places, None, only=keys)
    with Workers(places.staged, 1, nothing) as workers:
        _, more = apart(carry_out(places, works, workers))
    note_finished(places.ledger.folder, keys)
    return sorted(keys), [*refused, *more]
