"""The map of distortion: its discs are the rows, its heading their ends."""

from __future__ import annotations

import math

import polars as pl
import pytest

from backbench.charts.distortion_map import LEAST_PX, MOST_PX
from backbench.charts.drawing import Labels
from backbench.charts.label_placement import Spot, beside
from backbench.charts.registry import charts
from backbench.charts.unchecked import specification

Rows = list[dict[str, float]]


def _drawn(frame: pl.DataFrame) -> tuple[str, Rows]:
    spec = specification(charts()["distortion-map"].draw(frame, Labels(), "u0"))
    rows = [row for data in spec["datasets"].values() for row in data]
    return spec["description"], [row for row in rows if "about" in row]


def test_every_tone_has_its_disc_or_cross(frames: dict[str, pl.DataFrame]) -> None:
    frame = frames["distortion-map"]
    _, marks = _drawn(frame)
    assert len(marks) == frame.height
    valued = frame.filter(pl.col("thd_percent").is_not_null())["thd_percent"]
    span = math.log(valued.max() / valued.min())  # type: ignore[operator]
    radii = [LEAST_PX + (MOST_PX - LEAST_PX) * math.log(v / valued.min()) / span for v in valued]
    areas = [row["area"] for row in marks if "area" in row]
    assert sorted(areas) == pytest.approx(sorted(math.pi * r**2 for r in radii), rel=1e-5)
    shown = [row["shown"] for row in marks]
    assert "out of band" in shown
    assert "≤\u00a00.3\u00a0%" in shown


def test_equal_ratios_lie_equally_far_apart(frames: dict[str, pl.DataFrame]) -> None:
    """20 Hz to 1 kHz is 1.699 decades, 1 kHz to 10 kHz one; 1 W lies below 10 W."""
    _, marks = _drawn(frames["distortion-map"])
    at = {str(m["about"]): m for m in marks}
    low, middle, high = (at[f"{f}, 1\u00a0W"] for f in ("20\u00a0Hz", "1\u00a0kHz", "10\u00a0kHz"))
    ratio = (middle["px"] - low["px"]) / (high["px"] - middle["px"])
    assert ratio == pytest.approx(math.log10(50), rel=1e-5)
    assert at["1\u00a0kHz, 10\u00a0W"]["py"] < middle["py"] == low["py"]


def test_the_heading_is_the_least_and_the_greatest(frames: dict[str, pl.DataFrame]) -> None:
    heading, _ = _drawn(frames["distortion-map"])
    assert heading.startswith(
        "Quarrel M-10: distortion from 0.01\u00a0% at 1\u00a0kHz and 1\u00a0W to 3\u00a0% at "
        "20\u00a0Hz and 10\u00a0W"
    )


def test_a_name_goes_where_nothing_lies_or_nowhere() -> None:
    alone = beside([Spot(50, 50, 5, 30)], 14, (200, 100))
    assert alone == [(60, 50)]
    at_edge = beside([Spot(195, 50, 5, 30)], 14, (200, 100))
    assert at_edge == [(155, 50)]
    around = ((12, 0), (-12, 0), (0, 14), (0, -14))
    others = [Spot(50 + dx, 50 + dy, 5, 0) for dx, dy in around]
    beset = beside([Spot(50, 50, 5, 30), *others], 14, (200, 100))
    assert beset == [None] * 5
