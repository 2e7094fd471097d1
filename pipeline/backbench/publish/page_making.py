"""The pages of a part of the site, made by one process from the copied database."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from backbench.charts.own_queries import available, faulty
from backbench.ingest.recording_dates import RecordingDates
from backbench.publish.index_pages import index_pages
from backbench.publish.model_pages import model_page
from backbench.publish.photographs import Album
from backbench.publish.sheet_charts import ChartRenderer
from backbench.publish.site_builder import SiteBuilder, question_page, review_pages
from backbench.publish.site_data import keep_views, read_site_data
from backbench.querying.saved_queries import left_out_lines
from backbench.storage import database
from backbench.storage.answers_ahead import AnswersAhead
from backbench.storage.catalogue_paths import places

if TYPE_CHECKING:
    from backbench.publish.output_files import OutputFile
    from backbench.publish.page_jobs import Job, Places


@contextmanager
def opened_builder(where: Places) -> Iterator[SiteBuilder]:
    """Pages go aside; what was drawn for the site in the folder is not drawn again."""
    with database.reading(where.copy) as opened:
        keep_views(opened)
        store = AnswersAhead(opened)
        settings = places(where.root).settings
        kept = (where.folder / "charts", where.aside / "charts")
        yield SiteBuilder(
            renderer=ChartRenderer(store, available(where.root), kept, settings),
            site_data=read_site_data(store),
            settings=settings,
            folder=where.aside,
            album=Album(where.root, where.folder / "photographs"),
            dates=RecordingDates(where.root),
            earlier=where.folder,
            left_out=left_out_lines(faulty(where.root)),
        )


def pages_of(builder: SiteBuilder, job: Job) -> Iterator[Iterable[OutputFile]]:
    """The files of each part of a job, as they are made."""
    kind, names = job
    if kind == "index":
        yield index_pages(builder, builder.renderer.queries)
        return
    builder.keep_values()
    if kind == "question":
        yield from (question_page(builder, builder.renderer.queries[name]) for name in names)
        return
    builder.foresee(names)
    yield from (_of_review(builder, key) for key in names)


def _of_review(builder: SiteBuilder, review_key: str) -> Iterator[OutputFile]:
    yield from review_pages(builder, review_key)
    for maker, model in builder.models_of.get(review_key, ()):
        yield from model_page(builder, maker, model)
