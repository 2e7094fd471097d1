"""Texts that this program writes into a picture stand where the renderer would put them."""

from __future__ import annotations

import polars as pl
import pytest
import vl_convert

from backbench.charts.drawing import Labels
from backbench.charts.picture_labels import Label, labelled
from backbench.charts.registry import charts
from backbench.charts.svg_drawing import svg_of
from backbench.charts.unchecked import specification

LABELS = Labels(title='A "heading" & <b>', question="A question?", note="1 kHz, 8 Ω")


def _places(labels: list[Label]) -> set[tuple[str, float, int, int]]:
    return {(one.text, one.size, round(one.left), round(one.bottom)) for one in labels}


@pytest.mark.parametrize("name", ["overlaid", "ladder", "strip"])
def test_texts_are_those_of_the_renderer(name: str, frames: dict[str, pl.DataFrame]) -> None:
    spec = specification(charts()[name].draw(frames[name], LABELS, "u0"))
    rendered = labelled(vl_convert.vegalite_to_svg(spec, allowed_base_urls=[]))
    written = labelled(svg_of(spec))
    assert _places(list(written.labels)) == _places(list(rendered.labels))
    assert (written.width, written.height) == (rendered.width, rendered.height)
