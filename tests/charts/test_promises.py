"""Specifications beside what was measured: dots at their margins, headings that count."""

from __future__ import annotations

import polars as pl
import pytest

from backbench.charts.axis import axis
from backbench.charts.promises import promises_chart
from backbench.charts.unchecked import specification


def test_every_dot_stands_at_its_margin(frames: dict[str, pl.DataFrame]) -> None:
    frame = frames["promises"]
    spec = specification(promises_chart(frame, "u0"))
    rows = [row for data in spec["datasets"].values() for row in data]
    margins = frame["margin_db"].drop_nulls()
    x_axis = axis([0.0, *margins], 0.0, spec["width"])
    drawn = sorted(row["px"] for row in rows if "value_text" in row)
    assert drawn == pytest.approx(sorted(x_axis.px(v) for v in margins), rel=1e-5)
    shown = {row["value_text"] for row in rows if "value_text" in row}
    assert "−8\u00a0dB: missed" in shown
    assert "0\u00a0dB: inconclusive" in shown
    texts = [row["text"] for row in rows if "text" in row]
    assert any("1\u00a0not\u00a0comparable" in text for text in texts)


def test_headings_count_what_is_met_and_missed(frames: dict[str, pl.DataFrame]) -> None:
    """Of twelve units, three have a margin above 0 dB in noise, one 0 dB; all twelve in power."""
    frame = frames["promises"]
    heading = specification(promises_chart(frame))["description"]
    assert heading.startswith(
        "15 of 24 specifications tested are met, 8 missed, most often residual noise (8)"
    )
    own = specification(promises_chart(frame, "u11"))["description"]
    assert own.startswith("Quarrel M-21: 1 of 2 specifications tested are met, 1 missed: residual")
    none = specification(promises_chart(frame, "u99"))
    assert "has no specification that a figure was held against" in str(none["datasets"])
