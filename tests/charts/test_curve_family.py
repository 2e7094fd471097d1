"""Curves by setting: headings, and names that lie beside their own line and away from others."""

from __future__ import annotations

import numpy as np
import polars as pl

from backbench.charts.curve_family import CLEAR_PX, _corners, _dense, _least_distance, _place
from backbench.charts.drawing import Labels, PlainColumn
from backbench.charts.page_layout import PlotArea, Size
from backbench.charts.registry import charts
from backbench.charts.unchecked import specification

LABELS = Labels([PlainColumn("x", "Hz", "Frequency"), PlainColumn("y", "dB", "Response")])


def _heading(frame: pl.DataFrame, **options: str) -> str:
    drawn = charts()["family"].draw(frame, LABELS, "", options=options)
    return str(specification(drawn)["description"]).partition("\n")[0]


def test_the_heading_says_where_the_settings_lie_farthest_apart(
    frames: dict[str, pl.DataFrame],
) -> None:
    """Slopes of -1.5 and 1 dB a step, 5.5 steps from their crossing: 13.75 dB at 20 Hz."""
    assert "response differs by up to 13.8\u00a0dB, at 20\u00a0Hz" in _heading(frames["family"])


def test_settings_within_their_uncertainty_are_not_told_apart() -> None:
    rows = [
        {"unit_key": "a", "label": "A", "setting": name, "output": "left", "x": x, "y": y,
         "y_u": 0.05}
        for name, x, y in (("half", 4.0, 0.35), ("full", 26.0, 0.36))
    ]  # fmt: skip
    assert "no more than the uncertainty" in _heading(pl.DataFrame(rows), across="level")
    rows[0]["y"] = 1.36
    assert "moves by 1\u00a0dB from full to half" in _heading(pl.DataFrame(rows), across="level")


def test_a_name_lies_where_the_other_curve_is_far() -> None:
    area = PlotArea(Size(800, 400), 0.0, 0.0, 0.0, 0.0)
    own = np.array([[0.0, 200.0], [800.0, 200.0]])
    other = np.array([[0.0, 210.0], [800.0, 390.0]])
    left, top = _place(own, [_dense(other)], [], 60.0, area)
    box = _corners(left, top, 60.0)
    assert top < 200
    assert _least_distance(box, np.array([[left, 200.0]])) >= 5
    assert _least_distance(box, _dense(other)) > CLEAR_PX / 2
