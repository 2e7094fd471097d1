"""Weight of a site's first pages, and of a sample of the others, in a catalogue of 5,000 units.

Run: python tests/bench/large_site.py [folder [units]]. The catalogue is made by SQL, as for
`large_catalogue.py`. The whole site is not made: it would take as long as its reviews are many. Of
every kind of page SAMPLE are written, and the processor's time of each is printed.
"""

from __future__ import annotations

import itertools
import sys
import tempfile
import time
from collections.abc import Iterable
from pathlib import Path

import large_catalogue

from backbench.documents.settings import Settings
from backbench.publish.index_pages import index_pages
from backbench.publish.model_pages import model_page
from backbench.publish.output_files import OutputFile
from backbench.publish.sheet_charts import ChartRenderer
from backbench.publish.site_builder import SiteBuilder, question_page, review_pages
from backbench.publish.site_data import keep_views, read_site_data
from backbench.querying.saved_queries import shipped
from backbench.storage.database import reading

UNITS = 5000
SAMPLE = 10
LANDING = "index.html"


def weighed(folder: Path, what: str, pages: Iterable[OutputFile]) -> None:
    """Print what the pages took and weigh."""
    began = time.process_time()
    paths = [page.path for page in pages]
    took = time.process_time() - began
    print(f"{what}: {len(paths)} files, {took:.1f} s of processor's time")
    for path in sorted(path for path in paths if path.endswith(".html")):
        print(f"  {path}: {(folder / path).stat().st_size / 1e6:.3f} MB")


def landing_weight(folder: Path) -> float:
    """Megabytes of the first page with every picture that it names, light and dark."""
    text = (folder / LANDING).read_text(encoding="utf-8")
    named = [path for path in (folder / "charts").iterdir() if f"charts/{path.name}" in text]
    return (len(text.encode()) + sum(path.stat().st_size for path in named)) / 1e6


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(sys.argv[1] if len(sys.argv) > 1 else name)
        large_catalogue.UNITS = int(sys.argv[2]) if len(sys.argv) > 2 else UNITS
        folder.mkdir(exist_ok=True)
        large_catalogue.make(folder)
        site = folder / "site"
        with reading(folder) as store:
            began = time.process_time()
            keep_views(store)
            queries = shipped()
            builder = SiteBuilder(
                ChartRenderer(store, queries, None, Settings()), read_site_data(store), Settings(),
                site,
            )  # fmt: skip
            print(f"catalogue read: {time.process_time() - began:.1f} s of processor's time")
            weighed(site, "pages that list", index_pages(builder, queries))
            print(f"first page with its pictures: {landing_weight(site):.2f} MB")
            reviews = [*builder.site_data.reviews]
            for what, some in (("newest", reviews[:SAMPLE]), ("oldest", reviews[-SAMPLE:])):
                pages = itertools.chain.from_iterable(review_pages(builder, key) for key in some)
                weighed(site, f"sheets and units of the {SAMPLE} {what} reviews", pages)
            models = [*builder.site_data.models][:SAMPLE]
            pages = itertools.chain.from_iterable(model_page(builder, *one) for one in models)
            weighed(site, f"{SAMPLE} models", pages)
            answers = itertools.chain.from_iterable(
                question_page(builder, query) for query in queries.values()
            )
            weighed(site, "questions", answers)


if __name__ == "__main__":
    main()
