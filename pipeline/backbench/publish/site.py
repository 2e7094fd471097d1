"""The catalogue's site: a folder of static pages that opens from a disk without a network."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from backbench.charts.own_queries import available, faulty
from backbench.documents.file_names import SETTINGS_NAME
from backbench.errors import Fault, UserError
from backbench.ingest.recording_dates import RecordingDates
from backbench.publish import output_files
from backbench.publish.atomic_publish import database_copy, replace_site, replacing_site
from backbench.publish.index_pages import index_pages
from backbench.publish.model_pages import model_page
from backbench.publish.output_files import OutputFile
from backbench.publish.photographs import Album
from backbench.publish.sheet_charts import ChartRenderer
from backbench.publish.site_builder import SiteBuilder, question_page, review_pages
from backbench.publish.site_data import keep_views, read_site_data
from backbench.querying.saved_queries import left_out_lines
from backbench.storage import database
from backbench.storage.answers_ahead import AnswersAhead
from backbench.storage.atomic_io import make_folder
from backbench.storage.catalogue_paths import places
from backbench.storage.process_pool import started_pool
from backbench.storage.query_limits import end_when_overdue

if TYPE_CHECKING:
    from backbench.storage.database import Database

Job = tuple[str, str]
"""What to make: "index", "review" with its key (and the pages of models), "question"."""
FEW_JOBS = 40
"""Up to so many, starting further processes costs more than it saves."""


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
        copy = _copied(root, database_copy(folder))
        with database.reading(copy) as opened:
            builder = _builder(opened, root, aside, folder)
            jobs = _jobs(builder)
            started(len(jobs))
            made = list(_all(jobs, builder, (root, copy), folder, processes, progress))
        done = _published(folder, made, record)
        stands = "" if done.troubles else digest
        builder.file(
            output_files.RECORD, output_files.record_bytes(stands, [one.path for one in made])
        )
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


def _builder(opened: Database, root: Path, aside: Path, folder: Path) -> SiteBuilder:
    """Pages go aside; what was drawn for the site in the folder is not drawn again."""
    keep_views(opened)
    store = AnswersAhead(opened)
    settings = places(root).settings
    kept = (folder / "charts", aside / "charts")
    renderer = ChartRenderer(store, available(root), kept, settings)
    album = Album(root, folder / "photographs")
    return SiteBuilder(
        renderer=renderer,
        site_data=read_site_data(store),
        settings=settings,
        folder=aside,
        album=album,
        dates=RecordingDates(root),
        earlier=folder,
        left_out=left_out_lines(faulty(root)),
    )


def _jobs(builder: SiteBuilder) -> list[Job]:
    """Everything to be made; what takes longest first."""
    jobs: list[Job] = [("index", "")]
    jobs += [("question", name) for name in builder.renderer.queries]
    return jobs + [("review", key) for key in builder.site_data.reviews]


def _made(builder: SiteBuilder, job: Job) -> Iterator[OutputFile]:
    kind, name = job
    if kind != "index":
        builder.keep_values()
    if kind == "question":
        yield from question_page(builder, builder.renderer.queries[name])
    elif kind == "review":
        builder.foresee(name)
        yield from review_pages(builder, name)
        for maker, model in builder.models_of.get(name, ()):
            yield from model_page(builder, maker, model)
    else:
        yield from index_pages(builder, builder.renderer.queries)


def _all(
    jobs: Sequence[Job], builder: SiteBuilder, roots: tuple[Path, Path], folder: Path,
    processes: int, progress: Callable[[int], None],
) -> Iterator[OutputFile]:  # fmt: skip
    if processes < 2 or len(jobs) <= FEW_JOBS:
        for job in jobs:
            yield from _made(builder, job)
            progress(1)
        return
    opened_with = (*roots, builder.folder, folder)
    with started_pool(processes, _begin, opened_with) as pool:
        try:
            for written in pool.map(_make_in_worker, jobs):
                yield from written
                progress(1)
        except BrokenProcessPool:
            fault = Fault(str(folder), "a worker process that ended", "all pages made")
            raise UserError("the site can't be made", [fault]) from None


_worker: list[SiteBuilder] = []


def _begin(root: Path, copy: Path, aside: Path, folder: Path) -> None:
    """Open the copied database once in a worker; its connection lives as long as the worker."""
    end_when_overdue()
    held = ExitStack()
    opened = held.enter_context(database.reading(copy))
    _worker[:] = [_builder(opened, root, aside, folder)]
    _stacks.append(held)


_stacks: list[ExitStack] = []


def _make_in_worker(job: Job) -> Iterable[OutputFile]:
    return list(_made(_worker[0], job))
