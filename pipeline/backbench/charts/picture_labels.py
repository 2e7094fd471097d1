"""Labels of a drawn picture that lie on each other, run out of it or are too small.

Boxes are estimated from the text, so that no typeface has to be at hand: labels count as lying on
each other where they surely do.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from backbench.charts.chart_text import text_width
from backbench.quantities.writing import number

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


@dataclass(frozen=True)
class LabelledPicture:
    """Every text of a picture once, and its width and height in pixels."""

    labels: Sequence[Label]
    width: float
    height: float

    @property
    def heading(self) -> str:
        """The lines of the largest text, which stand first."""
        largest = max((label.size for label in self.labels), default=0.0)
        return " ".join(label.text for label in self.labels if label.size == largest)

    def faults(self, least_px: float) -> list[str]:
        """What is wrong, in words; arrows and other single signs are marks."""
        pairs = itertools.combinations(self.labels, 2)
        faults = [f"{a.text!r} lies on {b.text!r}" for a, b in pairs if _meet(a, b)]
        faults += [f"{label.text!r} runs out of the picture" for label in self.labels
                   if label.left < 0 or label.right > self.width or label.top < 0
                   or label.bottom > self.height]  # fmt: skip
        return faults + [f"{label.text!r} is {number(label.size)} px" for label in self.labels
                         if label.size < least_px]  # fmt: skip


def labelled(svg: str) -> LabelledPicture:
    """The labels of a picture that this program drew."""
    root = ET.fromstring(svg)
    result: dict[tuple[str, float, float], Label] = {}
    _collect(root, 0.0, 0.0, result)
    return LabelledPicture(
        list(result.values()), float(root.attrib["width"]), float(root.attrib["height"])
    )


def size_of_svg(svg: str) -> tuple[float, float]:
    """The picture's width and height in pixels."""
    head = ET.fromstring(svg[: svg.index(">")].removesuffix("/") + "/>").attrib
    return float(head["width"]), float(head["height"])


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


def _meet(a: Label, b: Label) -> bool:
    return a.left < b.right and b.left < a.right and a.top < b.bottom and b.top < a.bottom
