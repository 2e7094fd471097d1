"""The page of a model: every unit with a rank is pictured, drawn large or as strips of peers."""

from __future__ import annotations

from pathlib import Path

import pytest

from backbench.catalogue import Catalogue
from backbench.publish.model_pages import model_page
from backbench.publish.scorecard import ranked
from backbench.publish.sheet_charts import ChartRenderer
from backbench.publish.site_builder import SiteBuilder
from backbench.publish.site_data import read_site_data


@pytest.mark.parametrize(("carded", "mark"), [(True, 'class="drawn"'), (False, 'class="strip"')])
def test_every_model_with_a_rank_has_its_picture(
    measured: Catalogue, tmp_path: Path, *, carded: bool, mark: str
) -> None:
    with measured.reading() as store:
        builder = SiteBuilder(
            ChartRenderer(store, {}, None), read_site_data(store), measured.settings, tmp_path
        )
        if not carded:
            vars(builder)["carded"] = frozenset()
        of_review = builder.site_data.models_by_review()
        models = [model for models in of_review.values() for model in models]
        assert sorted(models) == sorted(builder.site_data.models)
        pictured = 0
        for maker, model in models:
            (page,) = [f for f in model_page(builder, maker, model) if f.path.endswith(".html")]
            keys = builder.site_data.models[maker, model]
            has_rank = any(ranked(builder.compared(key).lines) for key in keys)
            text = (tmp_path / page.path).read_text(encoding="utf-8")
            assert (mark in text) == has_rank
            pictured += has_rank
        assert pictured
