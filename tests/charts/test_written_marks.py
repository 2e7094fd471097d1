"""Pictures written by this program hold the marks that the renderer draws, in the same places."""

from __future__ import annotations

import re
from typing import Any

import altair as alt
import polars as pl
import pytest

from backbench.charts import svg_drawing
from backbench.charts.axis_writing import written_axes
from backbench.charts.drawing import PAGE, PHONE, Labels, Size
from backbench.charts.drawn_marks import DrawnMark, drawn_marks
from backbench.charts.mark_writing import UnwrittenError, written_marks
from backbench.charts.picture_labels import labelled
from backbench.charts.plain_specification import plain_specification
from backbench.charts.registry import charts
from backbench.charts.unchecked import specification

LABELS = Labels(title="A heading", question="A question?", note="1 kHz, 8 Ω")
PX = 0.02
DASHES = re.compile(r'stroke-dasharray="([^"]*)"')


def _look(mark: DrawnMark) -> tuple[str, str, str, float]:
    return mark.role, mark.fill, mark.stroke, mark.reach


def _dashes(svg: str) -> list[str]:
    return [found for found in DASHES.findall(svg) if found != "1,0"]


@pytest.mark.parametrize("size", [PAGE, PHONE], ids=["page", "phone"])
@pytest.mark.parametrize("name", sorted(charts()))
def test_marks_are_those_of_the_renderer(
    name: str, size: Size, frames: dict[str, pl.DataFrame]
) -> None:
    spec = specification(charts()[name].draw(frames[name], LABELS, "u0", size))
    layers = svg_drawing.layers_beside_texts(spec)
    written = svg_drawing._written_picture(spec, layers)
    assert written, "the renderer is needed for this chart"
    rendered = svg_drawing._rendered({**spec, "layer": layers})
    ours, theirs = drawn_marks(written), drawn_marks(rendered)
    assert [_look(mark) for mark in ours] == [_look(mark) for mark in theirs]
    for one, other in zip(ours, theirs, strict=True):
        flat, wanted = ([v for point in m.points for v in point] for m in (one, other))
        assert flat == pytest.approx(wanted, abs=PX)
    assert _dashes(written) == _dashes(rendered)
    texts = [{(t.text, t.size, round(t.left), round(t.bottom)) for t in labelled(svg).labels}
             for svg in (written, rendered)]  # fmt: skip
    assert texts[0] == texts[1]


@pytest.mark.parametrize("name", sorted(charts()))
def test_the_plain_specification_is_the_libraries(
    name: str, frames: dict[str, pl.DataFrame]
) -> None:
    chart = charts()[name].draw(frames[name], LABELS, "u0")
    assert plain_specification(chart) == chart.to_dict(validate=False)


def test_a_chart_that_a_user_altered_is_left_to_the_library() -> None:
    rows = alt.InlineData(values=[{"a": 1.0, "b": 2.0}])
    base = alt.Chart(rows).mark_point().encode(x="a:Q", y="b:Q")
    assert plain_specification(base) is None
    assert plain_specification(alt.layer(base, data=rows)) is None
    assert plain_specification(alt.layer(base.encode(x="mean(a):Q"))) is None
    altered = base.encode(color=alt.condition("datum.a > 1", alt.value("red"), alt.value("blue")))
    assert plain_specification(alt.layer(altered)) is None


X = {"field": "a", "type": "quantitative", "axis": None,
     "scale": {"type": "linear", "domain": [0, 10], "nice": False, "zero": False}}  # fmt: skip
DOT = {"mark": {"type": "point", "filled": True, "opacity": 1, "size": 40, "color": "#161616"},
       "encoding": {"x": X, "y": {"value": 5.0}}}  # fmt: skip


@pytest.mark.parametrize(
    ("change", "rows"),
    [
        ({"mark": {**DOT["mark"], "angle": 30}}, [{"a": 1.0}]),
        ({"mark": {"type": "tick"}}, [{"a": 1.0}]),
        ({"transform": []}, [{"a": 1.0}]),
        ({}, [{"a": None}]),
        ({"encoding": {**DOT["encoding"], "opacity": {"value": 0.3}}}, [{"a": 1.0}]),
        ({"encoding": {**DOT["encoding"], "x": {**X, "bin": True}}}, [{"a": 1.0}]),
    ],
)
def test_what_is_not_known_is_left_to_the_renderer(
    change: dict[str, Any], rows: list[dict[str, Any]]
) -> None:
    assert "translate(10,5)" in written_marks(DOT, [{"a": 1.0}], 0, (100.0, 50.0))
    with pytest.raises(UnwrittenError):
        written_marks({**DOT, **change}, rows, 0, (100.0, 50.0))


def test_crowded_numbers_are_left_to_the_renderer() -> None:
    values = [1.0, 1.2, 9.0]
    label_of = f'["1 kHz", "1.2 kHz", "9 kHz"][indexof({values}, datum.value)]'
    axis = {"values": values, "title": "Frequency", "labelExpr": label_of}
    layers = [{"encoding": {"x": {**X, "axis": axis}}}]
    assert list(written_axes(layers, (4000.0, 50.0)))
    with pytest.raises(UnwrittenError):
        list(written_axes(layers, (300.0, 50.0)))
