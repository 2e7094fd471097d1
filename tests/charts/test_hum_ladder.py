"""The ladder of hum: what it draws are the rows, and its heading is the strongest line."""

from __future__ import annotations

import polars as pl
import pytest

from backbench.charts import hum_ladder
from backbench.charts.axis import axis
from backbench.charts.drawing import Labels, PlainColumn
from backbench.charts.registry import charts
from backbench.charts.unchecked import specification

LABELS = Labels([PlainColumn("value", "µV", "Level")])


def _spec(frame: pl.DataFrame) -> dict[str, object]:
    return specification(charts()["ladder"].draw(frame, LABELS, "u0"))


def test_every_line_stands_at_its_level(frames: dict[str, pl.DataFrame]) -> None:
    frame = frames["ladder"]
    spec = _spec(frame)
    ends = [v for name in ("value", "peers_low", "peers_high") for v in frame[name]]
    x_axis = axis(ends, 0.0, float(str(spec["width"])), "µV", log=True)
    rows = [row for data in spec["datasets"].values() for row in data]  # type: ignore[attr-defined]
    drawn = sorted(row["px"] for row in rows if "about" in row)
    assert drawn == pytest.approx(sorted(x_axis.px(v) for v in frame["value"]), rel=1e-5)
    marked = {row["about"]: row["shown"] for row in rows if "about" in row}
    assert marked["100 Hz, right"] == "30\u00a0µV"
    assert marked["250 Hz, left"] == "≤\u00a016\u00a0µV"


def test_the_heading_names_the_strongest_line_and_its_distance(
    frames: dict[str, pl.DataFrame],
) -> None:
    """80 µV over a median of 40 µV is 6.0 dB."""
    assert str(_spec(frames["ladder"])["description"]).startswith(
        "Quarrel M-10: strongest hum 80\u00a0µV at 50 Hz, left; 6 dB above the median of 7 peers"
    )


def test_a_bound_has_no_distance_from_the_median() -> None:
    assert hum_ladder._apart({"value": 8.0, "bound": "upper", "peers_median": 4.0}) == ""
    assert hum_ladder._apart({"value": 8.0, "bound": None, "peers_median": None}) == ""
    assert hum_ladder._apart({"value": 4.1, "bound": None, "peers_median": 4.0}) == "at the median"
