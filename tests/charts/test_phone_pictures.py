"""Text as it is shown on a phone of 360 px: at least 11 px, nothing cut, nothing overlapping."""

from __future__ import annotations

import polars as pl
import pytest

from backbench.charts.drawing import PHONE, Labels
from backbench.charts.registry import charts
from chart_labels import faults_of, labels_of

PHONE_PX = 360.0
LEAST_PX = 11.0
SHOWN = (PHONE_PX - 2 * 17) / PHONE.width
QUESTION = "How does it stand in its main figures, and against its specifications?"


@pytest.mark.parametrize("figures", [1, 3])
def test_a_scorecard_says_everything_on_a_phone(
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
    note = "as received, 2016-02-07; peers: tube, amplifiers"
    labels = Labels(title=title, question=QUESTION, note=note)
    chart = charts()["scorecard"].draw(frame, labels, "u0", PHONE)
    assert faults_of(chart, LEAST_PX / SHOWN) == []
    texts = {label.text for label in labels_of(chart)[0]}
    assert "3rd to 5th of 12" in " ".join(texts)
    assert not any(text.endswith("…") for text in texts)


@pytest.mark.parametrize("name", sorted(charts()))
@pytest.mark.parametrize("subject", ["u0", ""])
def test_a_chart_drawn_for_a_phone_is_legible(
    name: str, subject: str, frames: dict[str, pl.DataFrame]
) -> None:
    labels = Labels(title="A heading", question=QUESTION, note="1 kHz, 8 ohm; newest review")
    chart = charts()[name].draw(frames[name], labels, subject, PHONE)
    assert faults_of(chart, LEAST_PX / SHOWN) == []
    _, width, height = labels_of(chart)
    assert width == PHONE.width
    assert 200 < height < 2000
