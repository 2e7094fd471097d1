"""The page of a model: every unit with a rank is pictured, drawn large or as strips of peers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from backbench.documents.settings import Settings
from backbench.publish.model_pages import model_page
from backbench.publish.sheet_charts import ChartRenderer
from backbench.publish.site_builder import SiteBuilder
from backbench.publish.site_data import read_site_data
from backbench.storage.database import reading


@pytest.mark.parametrize(("carded", "mark"), [(True, 'class="drawn'), (False, 'class="strip"')])
def test_every_model_with_a_rank_has_its_picture(
    given: Any, tmp_path: Path, *, carded: bool, mark: str
) -> None:
    for number, key in enumerate("abcdefgh"):
        given.unit(key)
        given.reading(key, "noise_a", 1e-4 * (number + 1), 1e-6, under="idle")
    given.unit("unread")
    with reading(given.build()) as store:
        site = tmp_path / "site"
        builder = SiteBuilder(
            ChartRenderer(store, {}, None), read_site_data(store), Settings(), site
        )
        if not carded:
            vars(builder)["carded"] = frozenset()
        of_review = builder.site_data.models_by_review()
        models = [model for models in of_review.values() for model in models]
        assert sorted(models) == sorted(builder.site_data.models)
        for maker, model in models:
            page = next(f for f in model_page(builder, maker, model) if f.path.endswith(".html"))
            text = (site / page.path).read_text(encoding="utf-8")
            assert (mark in text) == (model != "UNREAD")
