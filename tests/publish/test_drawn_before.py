"""A picture is put together again only where what it is drawn from changed."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from backbench.catalogue import Catalogue
from backbench.documents.settings import Settings
from backbench.publish.drawn_from import answer_drawn, drawn_from
from backbench.publish.sheet_charts import ChartRenderer
from backbench.querying.saved_queries import one_shipped, shipped

NAME = "quietest-of-a-kind"
OF_A_UNIT = "response-over-peers"
WORDS = ("a title", "at 1 kHz")


def source(rows: list[dict[str, object]], words: tuple[str, ...] = WORDS, title: str = "") -> str:
    settings = Settings(title=title) if title else Settings()
    answer = answer_drawn(one_shipped(NAME), pl.DataFrame(rows), {"unit": "u"}, words)
    return drawn_from(answer, settings)


def test_the_name_follows_everything_that_is_drawn() -> None:
    row: dict[str, object] = {"unit_key": "u", "value": 1.0, "curve": [1.0, 2.0]}
    one = source([row])
    assert source([dict(row)]) == one
    others = {
        source([{**row, "value": 1.0 + 1e-15}]), source([{**row, "curve": [1.0, 3.0]}]),
        source([{**row, "value": None}]), source([row, row]), source([]),
        source([row], (*WORDS, "more")), source([row], title="another"),
    }  # fmt: skip
    assert len(others) == 7
    assert one not in others


def nothing_put_together(*_: object, **__: object) -> None:
    raise AssertionError


def test_a_picture_that_is_there_is_taken_and_a_broken_one_drawn_anew(
    measured: Catalogue, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with measured.reading() as store:
        renderer = ChartRenderer(store, shipped(), [tmp_path], measured.settings)
        ((unit,),) = store.rows("SELECT min(unit_key) FROM curve WHERE curve = 'response'")
        first = renderer.draw(OF_A_UNIT, unit=unit)
        assert first is not None
        assert first.narrow is not None
        for picture in (first, first.narrow):
            (tmp_path / f"{picture.digest}.svg").write_text(picture.svg)
        with monkeypatch.context() as patch:
            patch.setattr(ChartRenderer, "chart", nothing_put_together)
            assert renderer.draw(OF_A_UNIT, unit=unit) == first
        (tmp_path / f"{first.digest}.svg").write_text(first.svg[:400])
        again = renderer.draw(OF_A_UNIT, unit=unit)
        assert again is not None
        assert again.svg == first.svg
