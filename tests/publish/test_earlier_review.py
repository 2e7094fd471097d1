"""The sheet of a review that a later one of the same unit has followed."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator

import pytest

from backbench.publish.sheet_charts import ChartRenderer
from backbench.publish.sheet_content import PICTURES
from backbench.publish.site_builder import SiteBuilder, review_pages
from backbench.publish.site_data import as_of_review, read_site_data
from backbench.querying.saved_queries import available, shipped
from simulated import CIRCUITS, simulated_catalogue

EARLIER, LATER, UNIT = "push-pull-taps", "push-pull-later", "push-pull"


@pytest.fixture(scope="module")
def builder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SiteBuilder]:
    """One unit reviewed twice, the second time after work."""
    folder = tmp_path_factory.mktemp("twice")
    later = folder / "later"
    shutil.copytree(CIRCUITS / "push_pull_taps", later)
    text = (later / "review.toml").read_text(encoding="utf-8")
    text = text.replace(f'"{EARLIER}"', f'"{LATER}"').replace('"as received"', '"restored"')
    head, *captures = text.split("[[capture]]")
    (later / "review.toml").write_text(
        "[[capture]]".join([_a_year_on(head), *captures[:2]]), encoding="utf-8"
    )
    catalogue = simulated_catalogue(folder / "catalogue")
    outcomes, refused = catalogue.ingest([CIRCUITS / "push_pull_taps", later], history=False)
    assert not refused
    assert not any(outcome.failed for outcome in outcomes)
    with catalogue.reading() as store:
        renderer = ChartRenderer(store, available(catalogue.places.root), None)
        yield SiteBuilder(renderer, read_site_data(store), catalogue.settings, folder / "site")


def _a_year_on(head: str) -> str:
    lines = [
        f"date = {int(line[7:11]) + 1}{line[11:]}" if line.startswith("date = ") else line
        for line in head.splitlines()
    ]
    return "\n".join(lines) + "\n"


def test_within_it_only_this_reviews_readings_of_the_unit_are_known(builder: SiteBuilder) -> None:
    store = builder.renderer.store
    requested = f"SELECT DISTINCT review_key FROM reading WHERE unit_key = '{UNIT}' ORDER BY ALL"
    assert store.rows(requested) == [(LATER,), (EARLIER,)]
    with as_of_review(store, UNIT, EARLIER):
        assert store.rows(requested) == [(EARLIER,)]
    assert store.rows(requested) == [(LATER,), (EARLIER,)]
    with pytest.raises(ZeroDivisionError), as_of_review(store, UNIT, EARLIER):
        _ = 1 / 0
    assert store.rows(requested) == [(LATER,), (EARLIER,)]
    with pytest.raises(AssertionError), as_of_review(store, "a' OR 1", EARLIER):
        pass


def test_its_sheet_shows_its_own_charts_and_says_whose_the_places_are(builder: SiteBuilder) -> None:
    list(review_pages(builder, EARLIER))
    text = (builder.folder / f"sheets/{EARLIER}.html").read_text(encoding="utf-8")
    assert "Values and charts here are those of this review" in text
    assert f'<a href="{LATER}.html">the newest review</a>' in text
    assert text.count("<figure>") > 0
    assert "Rank (1 = best)" not in text


def test_the_queries_of_a_sheets_charts_ask_tables_that_it_can_stand_in_for() -> None:
    for name, _ in PICTURES:
        assert not re.search(r"\b(placed|worse|at_point|before_after)\b", shipped()[name].sql), name
