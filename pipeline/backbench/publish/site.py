"""The catalogue's site: a folder of static pages that opens from a disk without a network.

What makes pages is loaded by the processes that make them alone: it takes them a second to begin.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from backbench.charts.own_queries import available
from backbench.documents.file_names import SETTINGS_NAME
from backbench.errors import Fault, UserError
from backbench.publish import output_files
from backbench.publish.atomic_publish import database_copy, replace_site, replacing_site
from backbench.publish.output_files import OutputFile
from backbench.publish.page_jobs import Job, Places, jobs_of
from backbench.storage import database
from backbench.storage.atomic_io import make_folder
from backbench.storage.catalogue_paths import places
from backbench.storage.process_pool import started_pool
from backbench.storage.query_limits import end_when_overdue

if TYPE_CHECKING:
    from backbench.publish.site_builder import SiteBuilder

FEW = 40
"""Up to so many reviews and questions, starting further processes costs more than it saves."""


@dataclass(frozen=True)
class PublishResult:
    """What a run did: files that it wrote, left alone and removed. nothing_new: it made none,
    for catalogue, settings, queries and program are those of the last run."""

    folder: Path
    written: tuple[str, ...]
    kept: int
    removed: tuple[str, ...]
    nothing_new: bool = False
    troubles: tuple[str, ...] = ()


def publish(
    root: Path,
    folder: Path,
    processes: int = 1,
    started: Callable[[int], None] = lambda number: None,
    progress: Callable[[int], None] = lambda number: None,
) -> PublishResult:
    """Make the site of the catalogue in `root`, and leave exactly its pages in `folder`.

    Raises UserError where there is no catalogue or its settings are faulty.
    """
    folder = folder.resolve()
    with replacing_site(folder) as aside:
        digest, record = output_files.digest_of(_inputs(root)), output_files.read_record(folder)
        if record.stands(folder, digest):
            return PublishResult(folder, (), len(record.paths), (), True)
        where = Places(root, _copied(root, database_copy(folder)), aside, folder)
        jobs = _jobs(where, processes)
        started(sum(len(names) for _, names in jobs))
        made = list(_all(jobs, where, processes, progress))
        done = _published(folder, made, record)
        stands = "" if done.troubles else digest
        content = output_files.record_bytes(stands, [one.path for one in made])
        output_files.make(aside, output_files.RECORD, content, folder)
        replace_site(aside, folder, record)
    return done


def _copied(root: Path, place: Path) -> Path:
    """A folder with a copy of the database, so that others may change the catalogue meanwhile.

    Raises UserError where there is no database, or one of another version.
    """
    with database.reading(root):
        pass
    make_folder(place)
    database.copy_database(root, place)
    return place


def _published(
    folder: Path, made: Sequence[OutputFile], record: output_files.EarlierOutput
) -> PublishResult:
    changed = sorted({written.path for written in made if written.changed})
    paths = {written.path for written in made}
    gone = sorted(path for path in {*record.paths} - paths if (folder / path).exists())
    troubles = tuple(written.trouble for written in made if written.trouble)
    kept = len(paths) - len(changed)
    return PublishResult(folder, tuple(changed), kept, tuple(gone), troubles=troubles)


def _inputs(root: Path) -> list[Path]:
    """Every file that the pages are made from."""
    files = [root / database.DATABASE_NAME, root / SETTINGS_NAME]
    files += sorted((root / "queries").glob("*.sql"))
    files += sorted((root / "ledger").glob("[0-9]*.json"))
    return [path for path in files if path.is_file()]


def _jobs(where: Places, processes: int) -> list[Job]:
    _ = places(where.root).settings  # whose own quantities have queries
    with database.reading(where.copy) as opened:
        reviews = [str(key) for (key,) in opened.rows(REVIEWS)]
    return jobs_of(reviews, [*available(where.root)], processes)


REVIEWS = "SELECT review_key FROM review ORDER BY reviewed DESC, review_key"


def _all(
    jobs: Sequence[Job], where: Places, processes: int, progress: Callable[[int], None]
) -> Iterator[OutputFile]:
    if processes < 2 or sum(len(names) for _, names in jobs) <= FEW:
        yield from _one_after_the_other(jobs, where, progress)
        return
    with started_pool(processes, _begin, (where,)) as pool:
        try:
            for (_, names), written in zip(jobs, pool.map(_make_in_worker, jobs), strict=True):
                yield from written
                progress(len(names))
        except BrokenProcessPool:
            fault = Fault(str(where.folder), "a worker process that ended", "all pages made")
            raise UserError("the site can't be made", [fault]) from None


def _one_after_the_other(
    jobs: Sequence[Job], where: Places, progress: Callable[[int], None]
) -> Iterator[OutputFile]:
    from backbench.publish.page_making import opened_builder, pages_of

    with opened_builder(where) as builder:
        for job in jobs:
            for written in pages_of(builder, job):
                yield from written
                progress(1)


_worker: list[SiteBuilder] = []


def _begin(where: Places) -> None:
    """Open the copied database once in a worker; its connection lives as long as the worker."""
    from backbench.publish.page_making import opened_builder

    end_when_overdue()
    held = ExitStack()
    _worker[:] = [held.enter_context(opened_builder(where))]
    _stacks.append(held)


_stacks: list[ExitStack] = []


def _make_in_worker(job: Job) -> Iterable[OutputFile]:
    from backbench.publish.page_making import pages_of

    return [written for one in pages_of(_worker[0], job) for written in one]
