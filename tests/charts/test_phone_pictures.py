"""Text as it is shown on a phone of 360 px: at least 11 px, nothing cut, nothing overlapping."""

from __future__ import annotations

import re

import polars as pl
import pytest

from backbench.charts.drawing import Labels, Size
from backbench.charts.registry import charts
from backbench.charts.scorecard import narrow_size
from backbench.publish.render import asset
from chart_labels import faults_of, labels_of

PHONE_PX = 360.0
LEAST_PX = 11.0


def _css(pattern: str) -> float:
    found = re.search(pattern, asset("site.css"))
    assert found
    return float(found[1])


def _root_px() -> float:
    return 16 * _css(r"html\{[^}]*font:([\d.]+)rem")


@pytest.mark.parametrize("figures", [1, 3])
def test_a_scorecard_drawn_for_a_phone_is_legible(
    frames: dict[str, pl.DataFrame], figures: int
) -> None:
    frame = frames["scorecard"]
    own = frame["metric"].unique(maintain_order=True)[:figures]
    long = "specified at least 20 W at 1 kHz, 8 ohm, 3 %: measured 22.53 W there, meets"
    frame = frame.filter(pl.col("metric").is_in(own.implode())).with_columns(
        verdict=pl.when(pl.col("verdict").is_not_null()).then(pl.lit(long))
    )
    title = (
        "Quarrel M-10: in the best quarter for 2, in the worst quarter for 3 of 17 figures; "
        "meets 4 of 5 specifications tested"
    )
    question = "How does it stand in its main figures, and against its specifications?"
    note = "as received, 2016-02-07; peers: tube, amplifiers"
    labels = Labels(title=title, question=question, note=note)
    chart = charts()["scorecard"].draw(frame, labels, "u0", narrow_size(figures))
    shown = PHONE_PX - 2 * 16
    assert faults_of(chart, LEAST_PX * narrow_size(figures).width / shown) == []
    texts = {label.text for label in labels_of(chart)[0]}
    assert "3rd to 5th of 12" in " ".join(texts)
    assert not any(text.endswith("…") for text in texts)


@pytest.mark.parametrize("name", sorted(charts()))
def test_a_chart_that_is_panned_on_a_phone_is_legible(
    name: str, frames: dict[str, pl.DataFrame]
) -> None:
    """What is drawn for a wide page is shown at a width that keeps its text legible."""
    chart = charts()[name].draw(frames[name], Labels(title="A heading", note="1 kHz"), "u0")
    labels, width, _ = labels_of(chart)
    scale = _css(r"\.pan img\{width:([\d.]+)rem") * _root_px() / width
    assert min(label.size for label in labels) * scale >= LEAST_PX


DRAWN_FOR_PHONES = {"distortion-map": Size(340, 760), "patterns": Size(340, 1400)}
"""Charts that are drawn for a phone's width too, with a height that holds them."""


@pytest.mark.parametrize("name", sorted(DRAWN_FOR_PHONES))
def test_a_chart_drawn_for_a_phone_is_legible(name: str, frames: dict[str, pl.DataFrame]) -> None:
    size = DRAWN_FOR_PHONES[name]
    labels = Labels(title="A heading", question="A question?", note="1 kHz, 8 ohm")
    chart = charts()[name].draw(frames[name], labels, "u0", size)
    assert faults_of(chart, LEAST_PX * size.width / (PHONE_PX - 2 * 16)) == []
