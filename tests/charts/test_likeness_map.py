"""The map of likeness: distances of marks are those of the figures, with who is left out."""

from __future__ import annotations

import math

import numpy as np
import polars as pl
import pytest

from backbench.charts.drawing import Labels
from backbench.charts.registry import charts
from backbench.charts.unchecked import specification
from backbench.statistics.nearest_neighbours import robust_scale


def _drawn(frame: pl.DataFrame, subject: str) -> tuple[str, list[dict[str, object]]]:
    spec = specification(charts()["likeness"].draw(frame, Labels(), subject))
    return spec["description"], [row for data in spec["datasets"].values() for row in data]


def test_marks_are_as_far_apart_as_the_figures(frames: dict[str, pl.DataFrame]) -> None:
    """Two figures fill a plane: pixels and robust deviations are proportional everywhere."""
    _, rows = _drawn(frames["likeness"], "u0")
    at = {
        str(r["unit_key"]): np.array([r["px"], r["py"]], float) for r in rows if "value_text" in r
    }
    gain = [20.0 + k for k in range(12)]
    power = [k * math.log(1.5) for k in range(11)] + [math.nan]
    scaled = np.clip(robust_scale(np.column_stack([gain, power])), -3, 3)
    pairs = [(0, 1), (0, 10), (3, 7), (4, 5)]
    drawn = [np.linalg.norm(at[f"u{a}"] - at[f"u{b}"]) for a, b in pairs]
    wanted = [np.linalg.norm(scaled[a] - scaled[b]) for a, b in pairs]
    factor = drawn[1] / wanted[1]
    assert drawn == pytest.approx([factor * w for w in wanted], rel=1e-4)
    assert set(at) == {f"u{k}" for k in range(11)}
    texts = " ".join(str(r.get("text", "")) for r in rows)
    assert "1 unit left out: only a bound of power (1)" in texts
    assert "more gain and power" in texts


def test_headings_name_who_is_alike(frames: dict[str, pl.DataFrame]) -> None:
    frame = frames["likeness"]
    assert _drawn(frame, "u0")[0].startswith(
        "Quarrel M-10: measures most like Quarrel M-11 and Quarrel M-12"
    )
    assert _drawn(frame, "")[0].startswith("Most alike of 11 units: ")
    # Units of one model are alike by making: the pair of others that are most alike is named.
    twins = frame.with_columns(model=pl.col("label").str.replace("M-1[0-9]", "M-1"))
    assert "Quarrel M-20" in _drawn(twins, "")[0]


def test_a_unit_that_cannot_be_placed_is_not_drawn_without(frames: dict[str, pl.DataFrame]) -> None:
    heading, rows = _drawn(frames["likeness"], "u11")
    assert heading.startswith("Quarrel M-21: not on the map")
    texts = " ".join(str(r.get("text", "")) for r in rows)
    assert "It can't be placed: there is only a bound of power." in texts
    assert not any("value_text" in row for row in rows)
