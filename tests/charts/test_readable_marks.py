"""Marks of a drawn picture say the values of the rows that they are drawn from."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import polars as pl
import pytest

from backbench.charts.drawing import Labels, PlainColumn
from backbench.charts.picture_labels import labelled
from backbench.charts.readable_marks import VERTEX, with_readings
from backbench.charts.registry import chart_named, charts
from backbench.charts.svg_drawing import svg_of
from backbench.charts.unchecked import specification


def marks(name: str, frame: pl.DataFrame, labels: Labels, subject: str = "u0") -> list[ET.Element]:
    spec = specification(charts()[name].draw(frame, labels, subject))
    root = ET.fromstring(with_readings(svg_of(spec), spec))
    return [node for node in root.iter() if "data-name" in node.attrib]


@pytest.mark.parametrize("name", sorted(charts()))
def test_texts_stay_and_descriptions_of_columns_go(
    name: str, frames: dict[str, pl.DataFrame]
) -> None:
    spec = specification(charts()[name].draw(frames[name], Labels(title="A"), "u0"))
    before = svg_of(spec)
    after = with_readings(before, spec)
    assert labelled(after) == labelled(before)
    assert "aria-" not in after
    for node in ET.fromstring(after).iter():
        says = node.get("data-says", "")
        assert not re.search(r"\bnan\b|None|_", says), says
        if "\n" in says:
            assert len(says.split("\n")) == len(VERTEX.findall(node.get("d", "")))


def test_a_curve_says_its_value_at_each_point() -> None:
    rows = [
        {"unit_key": key, "label": key.upper(), "technology": technology, "output": "left",
         "frequency_hz": hertz, "level_db": level, "low_db": None, "high_db": None, "level_u": u}
        for key, technology, u in (("own", "tube", 0.05), ("peer", "hybrid", None))
        for hertz, level in ((1e3, 0.0), (20.0, -1.25), (20e3, -3.0))
    ]  # fmt: skip
    labels = Labels([PlainColumn("level_db", "dB", "Level")])
    own, peer = sorted(marks("response", pl.DataFrame(rows), labels, "own"),
                       key=lambda mark: mark.attrib["data-name"])  # fmt: skip
    assert own.attrib["data-name"] == "OWN, left"
    assert own.attrib["data-says"].replace("\u00a0", " ").split("\n") == [
        "−1.25 dB ± 0.10 dB at 20 Hz", "0.00 dB ± 0.10 dB at 1 kHz",
        "−3.00 dB ± 0.10 dB at 20 kHz",
    ]  # fmt: skip
    assert "data-group" not in own.attrib
    assert peer.attrib["data-group"] == "hybrid"
    assert peer.attrib["data-says"].replace("\u00a0", " ").split("\n")[0] == "−1.25 dB at 20 Hz"


def test_a_dot_says_its_own_value(frames: dict[str, pl.DataFrame]) -> None:
    frame = frames["strip"]
    found = marks("strip", frame, Labels())
    names = {mark.attrib["data-name"].split(",")[0] for mark in found}
    assert names == set(frame.filter(pl.col("value").is_not_null())["label"])
    assert all(mark.attrib["data-says"] for mark in found)


def test_a_layer_that_does_not_answer_its_rows_stays_mute() -> None:
    spec = specification(chart_named("strip").draw(
        pl.DataFrame([{"unit_key": "a", "label": "A", "technology": "tube", "value": 1.0,
                       "low": None, "high": None, "status": "measured", "bound": None}]),
        Labels(), "a"))  # fmt: skip
    svg = svg_of(spec)
    assert "data-says" in with_readings(svg, spec)
    for one in spec["datasets"].values():
        one.append(dict(one[0]))
    assert "data-says" not in with_readings(svg, spec)
