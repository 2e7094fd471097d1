"""Marks stand at their values: read off the drawn picture by the labels of its axes."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl
import pytest

from backbench.charts.drawing import Labels
from backbench.charts.registry import charts
from backbench.charts.svg_drawing import svg_of
from backbench.charts.unchecked import specification
from read_marks import Reader, marks_of, readers, value_of

PLOT_PX = 1.5
"""A tick and a mark are drawn to half a pixel each, and a label's place is rounded."""
Frames = dict[str, pl.DataFrame]


def _drawn(name: str, frames: Frames) -> str:
    labels = Labels(title="A heading", note="1 kHz")
    return svg_of(specification(charts()[name].draw(frames[name], labels, "u0")))


def _stands(pixel: float, value: float, reader: Reader) -> bool:
    """Whether a value lies within PLOT_PX of a pixel, by the axis."""
    ends = sorted((reader(pixel - PLOT_PX), reader(pixel + PLOT_PX)))
    return ends[0] <= value <= ends[1]


@pytest.mark.parametrize(
    ("label", "value"),
    [("2\u00a0kHz", 2e3), ("−3", -3.0), ("500\u00a0mΩ", 0.5), ("1e−6", 1e-6), ("0.3", 0.3)],
)
def test_labels_of_ticks_are_read(label: str, value: float) -> None:
    assert value_of(label) == pytest.approx(value)


@pytest.mark.parametrize("name", ["strip", "ranked"])
def test_dots_stand_at_their_values(name: str, frames: Frames) -> None:
    svg = _drawn(name, frames)
    x = readers(svg)["X"]
    for value in frames[name]["value"]:
        assert any(_stands(mark.middle[0], value, x) for mark in marks_of(svg, "symbol"))
    assert not any(_stands(mark.middle[0], 2 * max(frames[name]["value"]), x)
                   for mark in marks_of(svg, "symbol"))  # fmt: skip


def test_dots_of_a_scatter_stand_at_both_values(frames: Frames) -> None:
    svg = _drawn("trend", frames)
    axes = readers(svg)
    places = [mark.middle for mark in marks_of(svg, "symbol")]
    for row in frames["trend"].iter_rows(named=True):
        assert any(_stands(px, row["x"], axes["X"]) and _stands(py, row["y"], axes["Y"])
                   for px, py in places)  # fmt: skip


@pytest.mark.parametrize(
    ("name", "x", "y"),
    [
        ("distortion-power", "power_w", "thd_percent"),
        ("response", "frequency_hz", "level_db"),
        ("impedance", "frequency_hz", "ohm"),
        ("spectrum", "frequency_hz", "level"),
    ],
)
def test_a_units_curves_run_through_its_values(name: str, x: str, y: str, frames: Frames) -> None:
    svg = _drawn(name, frames)
    axes = readers(svg)
    lines = [mark.points for mark in marks_of(svg, "line")]
    own = frames[name].filter(pl.col("unit_key") == "u0")
    if name == "spectrum":
        own = own.filter(pl.col("kind") == "spectrum")
    bounds = own.filter(pl.col("bound").is_not_null()) if "bound" in own.columns else own.clear()
    own = own.join(bounds, on=own.columns, how="anti", nulls_equal=True)
    for row in bounds.select(x, y).iter_rows():
        assert not any(_runs_through(points, [row], axes) for points in lines)
    for output in own["output"].unique():
        rows = own.filter(pl.col("output") == output).sort(x).select(x, y).rows()
        assert any(_runs_through(points, rows, axes) for points in lines)


def _runs_through(
    points: Sequence[tuple[float, float]], rows: Sequence[tuple[float, float]],
    axes: dict[str, Reader],
) -> bool:  # fmt: skip
    return len(points) == len(rows) and all(
        _stands(px, x, axes["X"]) and _stands(py, y, axes["Y"])
        for (px, py), (x, y) in zip(points, rows, strict=True)
    )
