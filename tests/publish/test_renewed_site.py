"""A site that is renewed equals one made anew, and answers asked ahead equal those asked alone."""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from pathlib import Path

import polars as pl
import pytest

from backbench.catalogue import Catalogue
from backbench.documents.file_names import SETTINGS_NAME
from backbench.publish import page_making
from backbench.publish.foresight import DRAWN
from backbench.publish.output_files import RECORD
from backbench.publish.sheet_charts import ChartRenderer
from backbench.publish.site import publish
from backbench.publish.site_builder import SiteBuilder, review_pages
from backbench.publish.site_data import keep_views, read_site_data
from backbench.querying.saved_queries import shipped
from backbench.storage.answers_ahead import AnswersAhead
from backbench.storage.database import Database
from simulated import CASES, simulated_catalogue

FIRST, MENDED, LAST = CASES[0], "push_pull_taps", CASES[-1]
NOTED = 'state = "serviced"\ntags = ["loan"]\nlistening = "Some hum."\n'
SPECIFIED = """
[[unit.published]]
metric = "thd"
at = { frequency_hz = 1000, load_ohm = 8 }
at_most = "0.2 %"
printed_in = "leaflet"
"""


def mended(review: Path) -> None:
    """Notes, another state and a specification, in the manifest that is there."""
    path = review / "review.toml"
    head, tracks, rest = path.read_text().partition("[tracks]")
    head = head.replace('state = "as received"\n', NOTED) + SPECIFIED
    path.write_text(f"{head}\n{tracks}{rest}")


def reviewed_later(review: Path) -> Path:
    """The same unit on a later day: its earlier review is no longer the newest."""
    later = review.with_name("later")
    shutil.copytree(review, later)
    path = later / "review.toml"
    text = path.read_text().replace("2026-02-01", "2026-03-01")
    text = text.replace('key = "push-pull-taps"', 'key = "push-pull-later"')
    path.write_text(text.replace('state = "as received"', 'state = "restored"'))
    return later


@pytest.fixture
def two_units(circuits: Path, tmp_path: Path, measured_once: None) -> Catalogue:
    home = simulated_catalogue(tmp_path / "home")
    home.ingest([circuits / FIRST, circuits / MENDED], history=False)
    return home


def changed(home: Catalogue, circuits: Path) -> None:
    """A further review, a later one of a unit, notes, a specification, another title."""
    settings = home.places.root / SETTINGS_NAME
    settings.write_text(settings.read_text().replace("Simulated circuits", "Another title"))
    later = reviewed_later(circuits / MENDED)
    mended(circuits / MENDED)
    folders = [circuits / LAST, circuits / MENDED, later]
    outcomes, refused = Catalogue(home.places.root).ingest(folders, history=False)
    assert not refused
    assert not any(outcome.failed for outcome in outcomes)


def held(folder: Path) -> dict[str, bytes]:
    """Every file but the list of them, which names what the site was made of."""
    files = (path for path in folder.rglob("*") if path.is_file() and path.name != RECORD)
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


@pytest.mark.usefixtures("few_questions")
def test_a_renewed_site_is_that_which_is_made_anew(
    two_units: Catalogue, circuits: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    root, renewed, anew, alone = two_units.places.root, *(tmp_path / n for n in "abc")
    publish(root, renewed)
    before = held(renewed)
    changed(two_units, circuits)
    publish(root, renewed)
    publish(root, anew)
    assert held(renewed) == held(anew)
    assert "units/push-pull.html" in held(anew).keys() & before.keys()
    assert held(anew)["units/push-pull.html"] != before["units/push-pull.html"]
    monkeypatch.setattr(page_making, "AnswersAhead", lambda store: store)
    publish(root, alone)
    assert held(alone) == held(anew)


def test_answers_asked_ahead_are_those_asked_alone(
    two_units: Catalogue, circuits: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    changed(two_units, circuits)
    with two_units.reading() as store:
        ahead = AnswersAhead(store)
        keys = [{"unit": key} for (key,) in store.rows("SELECT unit_key FROM unit ORDER BY 1")]
        keys.append({"unit": "nobody"})
        sql = "SELECT reading_key, value FROM reading WHERE unit_key = $unit ORDER BY reading_key"
        alone = [store.frame(sql, one) for one in keys], [store.rows(sql, one) for one in keys]
        ahead.foresee_frames(sql, keys)
        ahead.foresee_rows(sql, keys)
        asked = counted(monkeypatch)
        assert [ahead.rows(sql, one) for one in keys] == alone[1]
        for one, frame in zip(keys, alone[0], strict=True):
            assert ahead.frame(sql, one).equals(frame)
            assert ahead.frame(sql, one).schema == frame.schema
        assert asked == []
        with ahead.set_aside():
            ahead.rows(sql, keys[0])
        ahead.run("CREATE TEMP TABLE one AS SELECT 1")
        ahead.rows(sql, keys[0])
        assert len(asked) == 2


def counted(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The statements that are run from now on, as rows or as frames."""
    asked: list[str] = []
    rows, frame = Database.rows, Database.frame

    def of_rows(
        self: Database, sql: str, parameters: Sequence[object] | Mapping[str, object] = ()
    ) -> list[tuple[object, ...]]:
        asked.append(sql)
        return rows(self, sql, parameters)

    def of_frame(
        self: Database, sql: str, parameters: Sequence[object] | Mapping[str, object] = ()
    ) -> pl.DataFrame:
        asked.append(sql)
        return frame(self, sql, parameters)

    monkeypatch.setattr(Database, "rows", of_rows)
    monkeypatch.setattr(Database, "frame", of_frame)
    return asked


@pytest.mark.parametrize(
    ("sql", "rows"),
    [
        ("SELECT unnest([3, 1, 2]) AS x WHERE $unit <> '' ORDER BY x DESC", [(3,), (2,), (1,)]),
        ("SELECT unnest([3, 1]) AS x, $unit AS u ORDER BY ALL", [(1, "a"), (3, "a")]),
        ("SELECT x FROM (SELECT 1 AS x, $unit AS u) ORDER BY u", [(1,)]),
        ("SELECT max(x) FROM (SELECT unnest([1, 2]) AS x WHERE $unit = 'a')", [(2,)]),
    ],
)
def test_each_answer_has_the_order_that_its_statement_asks_for(
    measured: Catalogue, sql: str, rows: list[tuple[object, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    with measured.reading() as store:
        ahead = AnswersAhead(store)
        ahead.foresee_frames(sql, [{"unit": "a"}, {"unit": "b"}])
        asked = counted(monkeypatch)
        assert ahead.frame(sql, {"unit": "a"}).rows() == rows
        assert asked == []


def test_more_than_a_row_whose_order_is_no_column_is_asked_alone(measured: Catalogue) -> None:
    sql = (
        "SELECT x FROM (SELECT unnest([1, 2, 3]) AS x, unnest([2, 3, 1]) AS y WHERE $unit = 'a') "
        "ORDER BY y"
    )
    with measured.reading() as store:
        ahead = AnswersAhead(store)
        ahead.foresee_frames(sql, [{"unit": "a"}])
        assert ahead.frame(sql, {"unit": "a"}).rows() == [(3,), (1,), (2,)]


def test_pages_of_reviews_ask_little_of_their_own(
    measured: Catalogue, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with measured.reading() as store:
        keep_views(store)
        ahead = AnswersAhead(store)
        renderer = ChartRenderer(ahead, shipped(), None, measured.settings)
        builder = SiteBuilder(renderer, read_site_data(ahead), measured.settings, tmp_path)
        review = "push-pull-taps"
        _ = builder.stale, renderer.missing_measurements, renderer.conditions(DRAWN[0], {})
        builder.foresee([review])
        asked = counted(monkeypatch)
        assert [one.path for one in review_pages(builder, review)]
        own = {renderer.queries[name].sql for name in DRAWN}
        assert not own & {*asked}
        assert len(asked) <= 1, asked
