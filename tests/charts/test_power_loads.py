"""Power into each load: marks at their places, ideal lines of one slope, counting headings."""

from __future__ import annotations

import math

import polars as pl
import pytest

from backbench.charts.drawing import Labels, PlainColumn
from backbench.charts.registry import charts
from backbench.charts.unchecked import specification

LABELS = Labels([PlainColumn("value", "W", "Power"), PlainColumn("load_ohm", "ohm", "Load")])


def _drawn(frame: pl.DataFrame, subject: str) -> tuple[str, list[dict[str, float]]]:
    spec = specification(charts()["loads"].draw(frame, LABELS, subject))
    return spec["description"], [row for data in spec["datasets"].values() for row in data]


def test_every_figure_is_a_mark(frames: dict[str, pl.DataFrame]) -> None:
    frame = frames["loads"]
    _, rows = _drawn(frame, "u0")
    marks = {(row["unit_key"], 2 ** -row["_x"]): row["value"] for row in rows
             if "value_text" in row}  # fmt: skip
    wanted = {(row["unit_key"], row["load_ohm"]): row["value"] for row in frame.to_dicts()}
    assert marks.keys() == wanted.keys()
    assert all(marks[key] == pytest.approx(wanted[key], rel=1e-6) for key in wanted)


def test_ideal_lines_double_the_power_with_each_half_of_the_load(
    frames: dict[str, pl.DataFrame],
) -> None:
    _, rows = _drawn(frames["loads"], "u0")
    lines = [row for row in rows if "_x2" in row and "_y2" in row and row["_x2"] - row["_x"] > 0.5]
    slopes = [math.log2(r["_y2"] / r["_y"]) / (r["_x2"] - r["_x"]) for r in lines]
    assert len(slopes) > 3
    assert slopes == pytest.approx([1.0] * len(slopes), rel=1e-4)


def test_headings_say_how_the_power_grows(frames: dict[str, pl.DataFrame]) -> None:
    frame = frames["loads"]
    assert _drawn(frame, "u0")[0].startswith(
        "Quarrel M-10: 30\u00a0W into 2\u00a0Ω, 3 times that into 16\u00a0Ω (ideally 8 times)"
    )
    # The bound of the second unit is left out: 2.7 times over a factor of 4.
    assert "Quarrel M-11: 35.1\u00a0W into 4\u00a0Ω, 2.7 times" in _drawn(frame, "u1")[0]
    assert _drawn(frame, "")[0].startswith("12 of 12 units with two loads or more give more power")


def test_other_terminals_are_another_line(frames: dict[str, pl.DataFrame]) -> None:
    """A figure at the terminals for 4 ohm says nothing of what half the load takes."""
    own = frames["loads"].filter(pl.col("unit_key") == "u0")
    tapped = own.with_columns(tap=pl.col("load_ohm").cast(pl.String))
    assert "more than one load" in str(_drawn(tapped, "")[1])
    assert _drawn(tapped, "u0")[0].startswith("Quarrel M-10: power into one load only")
