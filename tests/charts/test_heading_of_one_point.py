"""Headings that state the ends of a line say one value where the line is one point."""

from __future__ import annotations

import polars as pl
import pytest

from backbench.charts.drawing import Labels
from backbench.charts.registry import charts
from backbench.charts.unchecked import specification


def _heading(frame: pl.DataFrame, unit: str) -> str:
    spec = specification(charts()["distortion-power"].draw(frame, Labels(), unit))
    return str(spec["description"])


@pytest.mark.parametrize("points", [1, 2])
def test_distortion_at_one_power_has_no_ends(frames: dict[str, pl.DataFrame], points: int) -> None:
    whole = frames["distortion-power"]
    unit = whole["unit_key"][0]
    own = whole.filter(unit_key=unit).unique("thd_percent", maintain_order=True)
    heading = _heading(
        pl.concat([own.head(points), whole.filter(pl.col("unit_key") != unit)]), unit
    )
    assert ("THD from" in heading) == (points == 2)
