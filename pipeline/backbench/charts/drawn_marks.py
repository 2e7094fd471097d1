"""What a drawn picture consists of: each mark with its outline, its colours and what it lies on."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from xml.etree import ElementTree as ET

from backbench.charts import theme
from backbench.charts.seen_contrast import blended

SVG = "{http://www.w3.org/2000/svg}"
MOVE = re.compile(r"translate\(([-\d.e]+),\s*([-\d.e]+)\)")
STEP = re.compile(r"([MLHVhvAaCcZz])([^MLHVhvAaCcZz]*)")
NUMBER = re.compile(r"-?\d*\.?\d+(?:e-?\d+)?")
UNSEEN = ("background", "foreground")
Point = tuple[float, float]


@dataclass(frozen=True)
class DrawnMark:
    """A mark as it was drawn, in pixels of the picture, in the order of painting.

    points: its corners. fill and stroke: as seen on what lies beneath it; "" where there is none.
    role: "grid", "symbol", "line", "area", "rule", "ground" (a filled rectangle), "text" or
    "sign" (a text of one character, such as an arrow). whose: the unit and output, or the series,
    that it says it belongs to. dash: of its stroke, as it is written.
    """

    role: str
    name: str
    points: tuple[Point, ...]
    fill: str
    stroke: str
    ground: str
    reach: float = 0.0
    whose: str = ""
    dash: str = ""

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom, half of the stroke's width included."""
        xs, ys = [x for x, _ in self.points], [y for _, y in self.points]
        far = self.reach
        return min(xs) - far, min(ys) - far, max(xs) + far, max(ys) + far

    @property
    def middle(self) -> Point:
        """The middle of the box."""
        left, top, right, bottom = self.box
        return (left + right) / 2, (top + bottom) / 2


def drawn_marks(svg: str, colours: Mapping[str, str] | None = None) -> list[DrawnMark]:
    """Every mark of a picture that this program drew.

    colours: the counterparts of a dark screen, where that is what it is seen on.
    """
    reader = _Reader(colours or {})
    reader.read(ET.fromstring(svg), 0.0, 0.0, "")
    return reader.marks


class _Reader:
    """Walks a picture in the order of painting, so that it is known what a mark lies on."""

    def __init__(self, colours: Mapping[str, str]) -> None:
        self.colours = colours
        self.marks: list[DrawnMark] = []
        self.paper = colours.get(theme.PAPER, theme.PAPER)

    def read(self, node: ET.Element, x: float, y: float, within: str) -> None:
        moved = MOVE.match(node.get("transform", ""))
        if moved:
            x, y = x + float(moved[1]), y + float(moved[2])
        if node.tag in (f"{SVG}defs", f"{SVG}style") or node.get("class") in UNSEEN:
            return
        within = node.get("class", within)
        points = tuple((x + px, y + py) for px, py in _corners(node))
        if points:
            self._take(node, points, within)
        for child in node:
            self.read(child, x, y, within)

    def _take(self, node: ET.Element, points: tuple[Point, ...], within: str) -> None:
        plain = DrawnMark(_role(node, within), _name(node), points, "", "", "")
        ground = self._beneath(plain.middle)
        fill, stroke = self._seen(node, "fill", ground), self._seen(node, "stroke", ground)
        if not fill and not stroke:
            return
        width = float(node.get("stroke-width", "1")) if stroke else 0.0
        self.marks.append(replace(
            plain, fill=fill, stroke=stroke, ground=ground, reach=width / 2,
            whose=node.get("data-name", ""), dash=node.get("stroke-dasharray", ""),
        ))  # fmt: skip

    def _seen(self, node: ET.Element, kind: str, ground: str) -> str:
        colour = node.get(kind, "")
        if not colour.startswith("#"):
            return ""
        share = float(node.get("opacity", "1")) * float(node.get(f"{kind}-opacity", "1"))
        return blended(self.colours.get(colour, colour), ground, share) if share else ""

    def _beneath(self, place: Point) -> str:
        """The colour of the rectangle that a mark lies on, else of the paper."""
        for mark in reversed(self.marks):
            left, top, right, bottom = mark.box
            inside = left <= place[0] <= right and top <= place[1] <= bottom
            if inside and mark.role == "ground" and mark.fill:
                return mark.fill
        return self.paper


def _name(node: ET.Element) -> str:
    return node.get("aria-label", "") or (node.text or "").strip()


OF_TAG = {"text": "text", "rect": "ground", "line": "rule"}
OF_GROUP = {"mark-rect": "ground", "mark-symbol": "symbol", "mark-area": "area"}


def _role(node: ET.Element, within: str) -> str:
    if "role-axis-grid" in within or node.get("stroke") == theme.RULE:
        return "grid"
    tag = node.tag.removeprefix(SVG)
    if tag == "text" and len((node.text or "").strip()) == 1:
        return "sign"
    groups = (role for name, role in OF_GROUP.items() if name in within)
    return OF_TAG.get(tag) or next(groups, "line")


def _corners(node: ET.Element) -> Iterator[Point]:
    tag = node.tag.removeprefix(SVG)
    if tag == "text":
        yield 0.0, 0.0
    elif tag == "line":
        yield 0.0, 0.0
        yield float(node.get("x2", "0")), float(node.get("y2", "0"))
    elif tag == "rect":
        left, top = float(node.get("x", "0")), float(node.get("y", "0"))
        yield left, top
        yield left + float(node.get("width", "0")), top + float(node.get("height", "0"))
    elif tag == "path":
        yield from _of_path(node.get("d", ""))


def _of_path(path: str) -> Iterator[Point]:
    """The ends of each piece of a path; of an arc its radius to both sides as well."""
    x = y = 0.0
    for letter, text in STEP.findall(path):
        values = [float(v) for v in NUMBER.findall(text)]
        if letter in "hv":
            x, y = (x + values[0], y) if letter == "h" else (x, y + values[0])
        elif letter in "HV":
            x, y = (values[0], y) if letter == "H" else (x, values[0])
        elif letter in "MLAC" and values:
            x0 = x
            x, y = values[-2], values[-1]
            if letter == "A":
                middle = (x0 + x) / 2
                yield middle, y - values[1]
                yield middle, y + values[1]
        else:
            continue
        yield x, y
