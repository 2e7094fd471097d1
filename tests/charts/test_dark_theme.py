"""Every chart on a dark screen: each of its colours has one there, and stands out from the ground.

Contrast as in test_chart_theme.py: 3:1 for marks, 4.5:1 for text (WCAG 2, from memory).
"""

from __future__ import annotations

import re

import polars as pl
import pytest
import vl_convert

from backbench.charts import theme
from backbench.charts.dark_theme import DARK, following_the_screen
from backbench.charts.drawing import Labels
from backbench.charts.image_export import offline_page
from backbench.charts.registry import charts
from backbench.charts.unchecked import specification
from backbench.publish.render import asset
from seen_colours import LEAST_DISTANCE, MATRICES, contrast, lab, linear

COLOUR = re.compile(r'(?:fill|stroke)="(#[0-9a-f]{6})"')
TEXT = re.compile(r'<text[^>]* fill="(#[0-9a-f]{6})"')
GROUNDS = {theme.PAPER, theme.RULE, theme.BAND, theme.CELL}
"""What marks lie on, and the grid: told from the paper by little on purpose."""


@pytest.mark.parametrize("name", sorted(charts()))
def test_every_colour_of_a_chart_has_one_on_a_dark_screen(
    name: str, frames: dict[str, pl.DataFrame]
) -> None:
    chart = charts()[name].draw(frames[name], Labels(title="A heading", note="1 kHz"), "u0")
    svg = vl_convert.vegalite_to_svg(specification(chart), allowed_base_urls=[])
    used, texts = set(COLOUR.findall(svg)), set(TEXT.findall(svg)) - {theme.PAPER}
    assert used <= set(DARK)
    assert texts
    assert all(contrast(colour) >= 4.5 for colour in texts)
    assert all(contrast(DARK[colour], DARK[theme.PAPER]) >= 4.5 for colour in texts)
    marks = used - GROUNDS
    assert all(contrast(colour) >= 3 for colour in marks)
    assert all(contrast(DARK[colour], DARK[theme.PAPER]) >= 3 for colour in marks)


def test_technologies_stay_apart_on_a_dark_screen() -> None:
    colours = [DARK[look.colour] for look in theme.LOOKS.values()] + [DARK[theme.INK]]
    for matrix in MATRICES.values():
        seen = [lab(matrix @ linear(colour)) for colour in colours]
        near = min(
            float(sum((a - b) ** 2) ** 0.5) for k, a in enumerate(seen) for b in seen[k + 1 :]
        )
        assert near > LEAST_DISTANCE


def test_a_picture_carries_its_dark_colours() -> None:
    svg = following_the_screen('<svg width="2"><rect fill="#fdfcf8"/></svg>')
    assert svg.startswith('<svg width="2"><style>@media screen and (prefers-color-scheme:dark){')
    assert f'[fill="{theme.INK}"]{{fill:{DARK[theme.INK]}}}' in svg
    assert svg.endswith('}</style><rect fill="#fdfcf8"/></svg>')


def test_an_interactive_page_carries_them_too(frames: dict[str, pl.DataFrame]) -> None:
    page = offline_page(charts()["strip"].draw(frames["strip"], Labels(title="A"), "u0"))
    assert f'#chart [fill="{theme.INK}"]{{fill:{DARK[theme.INK]}}}' in page


def test_pages_and_charts_share_one_palette_in_both_themes() -> None:
    light, dark = (line for line in asset("site.css").splitlines()[:2])
    for name, technology in (
        ("tube", "tube"),
        ("solid", "solid state"),
        ("switching", "switching"),
        ("hybrid", "hybrid"),
    ):
        colour = theme.LOOKS[technology].colour
        assert f"--{name}:{DARK[colour]}" in dark
        assert name == "hybrid" or f"--{name}:{colour}" in light
    assert f"--plate:{DARK[theme.PAPER]}" in dark
