"""A review folder measured as an ingest would, with nothing kept: how its captures would end."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

from backbench.documents.manifest import Manifest
from backbench.documents.regular_files import open_regular
from backbench.documents.settings import Settings
from backbench.ingest.analysis_plan import named_files, plan_review
from backbench.ingest.incremental import work_of
from backbench.ingest.load import Staged, load_reviews
from backbench.ingest.outcomes import ReviewOutcome, review_outcomes, unused_in
from backbench.ingest.receive import received_file
from backbench.ingest.recording_dates import dates_in_doubt, days_written
from backbench.ingest.reference_tables import sync_reference
from backbench.ingest.worker_pool import Workers
from backbench.progress import Progress, nothing
from backbench.storage.catalogue_paths import CataloguePaths
from backbench.storage.database import writing
from backbench.storage.scratch import scratch_folder
from backbench.storage.vault import Receipt, Vault, hash_stream

NOT_KEPT = "0" * 64
"""Hash of a manifest that is not received."""


class FilesInPlace(Vault):
    """Hashes files and finds them again where they are; keeps no copy."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self._places: dict[str, Path] = {}

    def put(self, source: Path) -> tuple[str, int]:
        """A file's hash and size. Raises OSError where it can't be read."""
        with open_regular(source) as stream:
            digest, size = hash_stream(stream)
        self._places[digest] = source
        return digest, size

    def path(self, sha256: str) -> Path:
        """Where the file with this hash is."""
        return self._places[sha256]


def trial(
    folder: Path, manifest: Manifest, settings: Settings, progress: Progress = nothing
) -> ReviewOutcome:
    """How the captures of a review folder would end, and what is worked out across them.

    The same reading, measuring and deriving as an ingest, into a database that is thrown away.
    Raises UserError where the review as a whole would be refused.
    """
    home = folder.resolve()
    files = FilesInPlace(home)
    named = named_files(manifest)
    received = {name: received_file(home, name, files, named) for name in named}
    receipt = Receipt(1, manifest.review.key, str(home), NOT_KEPT, received)
    planned = plan_review(manifest, receipt, settings, files)
    with scratch_folder() as aside_folder:
        aside = CataloguePaths(aside_folder, aside_folder)
        work = work_of(aside, planned, None)
        with Workers(aside.staged, len(os.sched_getaffinity(0)), progress) as workers:
            workers.begin(work)
            chunks = workers.collect(work)
        with writing(aside.database) as store:
            sync_reference(store, settings)
            load_reviews(store, [Staged(planned, work.fresh, chunks, anew=True)])
            ended = review_outcomes(store, [planned.key])[planned.key]
            unused = unused_in(store, planned.key)
    dates = tuple(dates_in_doubt(manifest, days_written(received)))
    return replace(ended, dates=dates, unused=unused)
