"""Labels of a drawn chart that lie on each other, run out of the picture or are too small."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass
from xml.etree import ElementTree as ET

import altair as alt
import vl_convert

from backbench.charts.chart_text import text_width
from backbench.charts.unchecked import specification

SVG = "{http://www.w3.org/2000/svg}"
MOVE = re.compile(r"translate\(([-\d.e]+),\s*([-\d.e]+)\)")
WIDTH_SHARE = 0.86
"""`text_width` is never too narrow: two labels overlap only where this share of them does."""
ASCENT, DESCENT = 0.70, 0.15
"""Of plain capitals and digits, in sizes of the face."""


@dataclass(frozen=True)
class Label:
    """A text with its box, in pixels of the picture."""

    text: str
    size: float
    left: float
    right: float
    top: float
    bottom: float


def labels_of(chart: alt.TopLevelMixin) -> tuple[list[Label], float, float]:
    """Every text once, and the picture's width and height."""
    root = ET.fromstring(vl_convert.vegalite_to_svg(specification(chart), allowed_base_urls=[]))
    result: dict[tuple[str, float, float], Label] = {}
    _collect(root, 0.0, 0.0, result)
    return list(result.values()), float(root.attrib["width"]), float(root.attrib["height"])


def _collect(
    node: ET.Element, x: float, y: float, result: dict[tuple[str, float, float], Label]
) -> None:
    moved = MOVE.match(node.get("transform", ""))
    if moved:
        x, y = x + float(moved[1]), y + float(moved[2])
    if node.tag == f"{SVG}text" and len((node.text or "").strip()) > 1:
        label = _label(node, x, y)
        result.setdefault((label.text, round(label.left), round(label.top)), label)
    for child in node:
        _collect(child, x, y, result)


def _label(node: ET.Element, x: float, y: float) -> Label:
    text, size = node.text or "", float(node.get("font-size", "0").removesuffix("px"))
    width = WIDTH_SHARE * text_width(text, size, bold=node.get("font-weight") == "bold")
    shift = {"middle": width / 2, "end": width}.get(node.get("text-anchor", ""), 0.0)
    left = x - shift
    return Label(text, size, left, left + width, y - ASCENT * size, y + DESCENT * size)


def faults_of(chart: alt.TopLevelMixin, least_px: float) -> list[str]:
    """What is wrong with a chart's labels, in words; arrows and other single signs are marks."""
    labels, width, height = labels_of(chart)
    faults = [f"{a.text!r} lies on {b.text!r}" for a, b in itertools.combinations(labels, 2)
              if _meet(a, b)]  # fmt: skip
    faults += [f"{label.text!r} runs out of the picture" for label in labels
               if label.left < 0 or label.right > width or label.top < 0 or label.bottom > height
               ]  # fmt: skip
    return faults + [f"{label.text!r} is {label.size:g} px" for label in labels
                     if label.size < least_px]  # fmt: skip


def _meet(a: Label, b: Label) -> bool:
    return a.left < b.right and b.left < a.right and a.top < b.bottom and b.top < a.bottom
