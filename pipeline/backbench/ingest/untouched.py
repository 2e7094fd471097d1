"""Review folders of which nothing was touched since they were last found to be unchanged.

Such a folder is neither read nor planned again: a record says of its files, and of those that the
vault keeps of them, how long they are and when they were last changed. It is believed only for
files whose last change lay well before the run that read them began, so that none could have been
changed while it was read; the system sets the time of a change by itself, whatever a program says.
What a disk does to bytes without being asked is found by `backbench verify`, which reads them all.
"""

from __future__ import annotations

import hashlib
import json
import os
import stat
import time
from collections.abc import Iterable, Sequence
from contextlib import suppress
from functools import cached_property
from pathlib import Path
from typing import Any

from backbench import __version__
from backbench.documents.file_names import MANIFEST_NAME, SETTINGS_NAME
from backbench.ingest.capture_files import recordings
from backbench.ingest.incremental import StoredReview, Work, derivation_versions, standing
from backbench.ingest.outcomes import review_outcomes
from backbench.ingest.reading_rows import digest
from backbench.ingest.receive import WrittenReview
from backbench.ingest.recording_dates import dates_in_doubt, days_written
from backbench.ingest.run_ingest import Outcome
from backbench.metrics.registry import registry
from backbench.storage.atomic_io import write_aside
from backbench.storage.catalogue_paths import CataloguePaths
from backbench.storage.database import reading
from backbench.storage.vault import Receipt

RECORD = ".unchanged.json"
GRAIN_NS = 3_000_000_000
"""More than the coarsest step in which file systems count (FAT: 2 s)."""

Given = Path | WrittenReview
Signs = dict[str, list[int]]
"""Length, times of the last change and identity of each file, by path."""


class UntouchedFolders:
    """What the record of a catalogue says; read once, before anything else of a run."""

    def __init__(self, places: CataloguePaths) -> None:
        self._began_ns = time.time_ns()
        self._places = places
        self._path = places.root / RECORD
        self._record = _read(self._path)

    @cached_property
    def _standing(self) -> dict[str, StoredReview]:
        return standing(self._places)

    @cached_property
    def _program(self) -> str:
        return _program(self._places)

    def taken_out(
        self, folders: Sequence[Given] | None
    ) -> tuple[list[Outcome], list[Given] | None]:
        """How the reviews of untouched folders stand, and the folders that have to be read.

        folders: None where it is the ledger that is gone through; so it is then.
        """
        if folders is None:
            return [], None
        found = [self._captures_of(folder) for folder in folders]
        captures = dict(one for one in found if one is not None)
        rest = [folder for folder, one in zip(folders, found, strict=True) if one is None]
        if not captures:
            return [], rest
        with reading(self._places.database) as store:
            ended = review_outcomes(store, [*captures])
        return [
            Outcome(review, 0, number, unchanged=True, ended=ended[review])
            for review, number in captures.items()
        ], rest

    def _captures_of(self, folder: Given) -> tuple[str, int] | None:
        """The review of an untouched folder, and how many captures it has."""
        if not isinstance(folder, Path):
            return None
        kept = self._record.get(str(folder.resolve()))
        try:
            if kept is None or kept["state"] != self._state(kept["review"]):
                return None
            if any(_sign(path) != sign for path, sign in kept["files"].items()):
                return None
            if not kept["captures"] and recordings(folder):
                return None
            return str(kept["review"]), int(kept["captures"])
        except (OSError, KeyError, TypeError, AttributeError, ValueError):
            return None

    def note(self, works: Iterable[Work]) -> None:
        """Record the folders that were read and found to be unchanged, as far as it is safe."""
        record = dict(self._record)
        for work in works:
            if work.folder is None:
                continue
            home = work.folder.resolve()
            record.pop(str(home), None)
            signs = self._settled(home, work.planned.receipt) if _is_plain(work) else None
            if signs is not None:
                record[str(home)] = {
                    "review": work.planned.key, "captures": len(work.planned.captures),
                    "state": self._state(work.planned.key), "files": signs,
                }  # fmt: skip
        if record != self._record:
            # A matter of speed alone: without it the folders are read again.
            with suppress(OSError):
                write_aside(self._path, json.dumps(record).encode(), 0o644)

    def _settled(self, home: Path, receipt: Receipt) -> Signs | None:
        """Signs of all files of a review; None where one was changed too lately, or is a link."""
        vault = self._places.vault
        hashes = [receipt.manifest, *(file.sha256 for file in receipt.files.values())]
        paths = [home / name for name in (MANIFEST_NAME, *receipt.files)]
        paths += [self._places.ledger.path(receipt.number)]
        paths += [vault.path(sha256) for sha256 in hashes if sha256]
        try:
            signs = {str(path): _sign(str(path)) for path in paths}
        except OSError:
            return None
        latest = max(max(changed, written) for _, written, changed, *_ in signs.values())
        return signs if latest < self._began_ns - GRAIN_NS else None

    def _state(self, review: str) -> str | None:
        """All but the files that a review's standing in the database rests on."""
        held = self._standing.get(review)
        if held is None:
            return None
        terms = sorted(map(list, held.terms))
        return digest(self._program, held.receipt, held.derived_with, sorted(held.analyses), terms)


def _is_plain(work: Work) -> bool:
    """Whether nothing is to be said of a review but what the database says: of lacking files and
    dates in doubt something else may be true at another time."""
    plan = work.planned
    files = plan.receipt.files
    doubts = dates_in_doubt(plan.manifest, days_written(files))
    return work.unchanged and all(file.sha256 for file in files.values()) and not any(doubts)


def _program(places: CataloguePaths) -> str:
    """What a plan rests on beside the review: settings, and the versions of this program."""
    metrics = {metric.name: metric.version for metric in registry().metrics.values()}
    kinds = {kind: registry().versions(kind) for kind in registry().views}
    settings = hashlib.sha256((places.root / SETTINGS_NAME).read_bytes()).hexdigest()
    return digest(__version__, settings, metrics, kinds, derivation_versions())


def _sign(path: str) -> list[int]:
    """Raises OSError where it isn't there, or is no regular file."""
    found = os.lstat(path)
    if not stat.S_ISREG(found.st_mode):
        raise OSError(path)
    return [found.st_size, found.st_mtime_ns, found.st_ctime_ns, found.st_ino, found.st_dev]


def _read(path: Path) -> dict[str, Any]:
    """The record; an empty one where there is none that can be read."""
    try:
        record = json.loads(path.read_bytes())
    except (OSError, ValueError):
        return {}
    return record if isinstance(record, dict) else {}
