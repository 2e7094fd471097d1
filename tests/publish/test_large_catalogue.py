"""The pages that list every unit of a catalogue of 5,000."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from backbench.catalogue import Catalogue
from backbench.comparison.compared_points import compared_points
from backbench.publish.index_pages import PAGE_ROWS, index_pages
from backbench.publish.sheet_charts import ChartRenderer
from backbench.publish.site_builder import SiteBuilder
from backbench.publish.site_data import SiteData, read_site_data
from backbench.querying.saved_queries import available

UNITS = 5000
MOST_BYTES = 3_000_000


def large(site_data: SiteData) -> SiteData:
    """5,000 units made from those at hand, each with a value at every place there is."""
    patterns = list(site_data.units.values())
    units = {
        f"generated-unit-{n:04d}": {
            **patterns[n % len(patterns)], "unit_key": f"generated-unit-{n:04d}",
            "label": f"Generated maker of long name, model {n:04d} (generated-unit-{n:04d})",
            "maker": f"Maker {n % 300}", "model": f"Model {n}",
        }
        for n in range(UNITS)
    }  # fmt: skip
    values = {}
    for place, column in site_data.values.items():
        row = next(iter(column.values()))
        values[place] = {
            key: {**row, "unit_key": key, "value": row["value"] * (1 + n / 7919)}
            for n, key in enumerate(units)
        }
    models = {(str(row["maker"]), str(row["model"])): (key,) for key, row in units.items()}
    return replace(site_data, units=units, values=values, models=models)


@pytest.fixture(scope="module")
def folder(measured: Catalogue, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The listing pages of the large catalogue."""
    made = tmp_path_factory.mktemp("large")
    with measured.reading() as store:
        renderer = ChartRenderer(store, available(measured.places.root), None)
        builder = SiteBuilder(renderer, large(read_site_data(store)), measured.settings, made)
        for _ in index_pages(builder, renderer.queries):
            pass
        yield made


def data_of(path: Path, name: str) -> Any:
    result = re.search(rf'id="{name}">(.*?)</script>', path.read_text(encoding="utf-8"), re.DOTALL)
    assert result
    return json.loads(result[1])


def test_every_page_stays_small(folder: Path) -> None:
    sizes = {path.name: path.stat().st_size for path in folder.glob("*.html")}
    assert {"index.html", "compare.html", "compare-2.html", "makers.html"} <= set(sizes)
    assert {name: size for name, size in sizes.items() if size >= MOST_BYTES} == {}


def test_the_overview_holds_every_unit_once(folder: Path) -> None:
    text = (folder / "index.html").read_text(encoding="utf-8")
    shown = re.findall(r'<tr role="row" data-key="([^"]+)"', text)
    more = [row[0] for row in data_of(folder / "index.html", "more")]
    assert len(shown) == PAGE_ROWS
    assert sorted([*shown, *more]) == [f"generated-unit-{n:04d}" for n in range(UNITS)]


def test_nothing_is_left_out_of_the_comparison(folder: Path, measured: Catalogue) -> None:
    pages = sorted(folder.glob("compare*.html"))
    result = [place for path in pages for place in data_of(path, "data")["places"]]
    with measured.reading() as store:
        values = read_site_data(store).values
    assert len(result) == sum(
        point in compared_points().get(metric, ()) for metric, point, _ in values
    )
    assert all(len(place["values"]) == UNITS for place in result)
    for path in pages:
        assert len(data_of(path, "data")["units"]) == UNITS
        text = path.read_text(encoding="utf-8")
        assert all(f'href="{other.name}"' in text for other in pages if other != path)
