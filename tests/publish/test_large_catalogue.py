"""The pages that list every unit of a catalogue of 5,000."""

from __future__ import annotations

import json
import random
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from PIL import Image

from backbench.catalogue import Catalogue
from backbench.charts.declaration import MOST_ROWS
from backbench.charts.drawing import Labels
from backbench.charts.registry import chart_named
from backbench.comparison.compared_points import compared_points
from backbench.publish.heavy_pictures import landing_picture
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
    return replace(site_data, units=units, values=values, shown=values, models=models)


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


def test_a_picture_of_every_unit_is_shown_as_pixels_in_both_themes(
    measured: Catalogue, tmp_path: Path
) -> None:
    """The first page's pictures and its text together stay below MOST_BYTES."""
    generator = random.Random(1)
    rows = [
        {"unit_key": f"u{n}", "label": f"Maker {n % 97} Model {n}",
         "technology": ("tube", "hybrid")[n % 2], "x": generator.uniform(5, 200), "y": y,
         "y_low": 0.98 * y, "y_high": 1.02 * y}
        for n, y in enumerate(generator.lognormvariate(0, 1) for _ in range(MOST_ROWS))
    ]  # fmt: skip
    with measured.reading() as store:
        renderer = ChartRenderer(store, {}, None)
        builder = SiteBuilder(renderer, read_site_data(store), measured.settings, tmp_path)
        chart = chart_named("trend").draw(pl.DataFrame(rows), Labels(title="A"))
        picture = renderer.picture("a trend", "A", lambda: chart)
        values, *files = landing_picture(builder, picture)
    assert len(picture.svg) > MOST_BYTES / 3
    assert [file.path for file in files] == [values["src"], values["dark"]]
    light, dark = (Image.open(tmp_path / file.path).convert("RGB") for file in files)
    assert light.size == dark.size == (2 * picture.width, 2 * picture.height)
    assert light.getpixel((0, 0)) == (253, 252, 248)
    assert dark.getpixel((0, 0)) == (29, 27, 24)
    assert all((tmp_path / file.path).stat().st_size < 0.1 * MOST_BYTES for file in files)


def data_of(path: Path, name: str) -> Any:
    result = re.search(rf'id="{name}">(.*?)</script>', path.read_text(encoding="utf-8"), re.DOTALL)
    assert result
    return json.loads(result[1])


def test_every_page_stays_small(folder: Path) -> None:
    sizes = {path.name: path.stat().st_size for path in folder.glob("*.html")}
    assert sizes["index.html"] < 0.6 * MOST_BYTES
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
