"""Colours, shapes and type: paper and ink, technologies distinguished twice over."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

PAPER = "#fdfcf8"
INK = "#161616"
SOFT_INK = "#55524b"
RULE = "#dedacf"
BAND = "#e9e5da"
CELL = "#f1ede2"
GREY = "#8b867a"
LINE_GREY = "#8f897c"
DARK_GREY = "#5f5b52"
BROWN = "#8a7466"
FONT = "Liberation Sans, Arial, Helvetica, sans-serif"

BAND_EDGE: dict[str, Any] = {"stroke": GREY, "strokeWidth": 0.7}
"""The outline of a pale area, by which it stands out from the paper."""

HEADING_PX = 21
TEXT_PX = 14
SMALL_PX = 13
PEER_AREA = 46
SUBJECT_AREA = 150


@dataclass(frozen=True)
class Look:
    """How one technology is drawn: a colour, a point shape, a line's dashes."""

    colour: str
    shape: str
    dash: list[int]


LOOKS = {
    "tube": Look("#b4541a", "circle", [1, 0]),
    "solid state": Look("#1f5d99", "square", [7, 3]),
    "hybrid": Look("#4f9d8c", "diamond", [2, 2]),
    "switching": Look("#5c2d54", "triangle-up", [9, 3, 2, 3]),
}
UNSTATED = Look(SOFT_INK, "cross", [1, 3])


def look(technology: str | None) -> Look:
    """The technology's look; one of its own for what is not stated."""
    return LOOKS.get(technology or "", UNSTATED)


def in_order(technologies: Iterable[str | None]) -> list[str]:
    """The technologies present, in the one order that every chart uses."""
    present = {technology or "not stated" for technology in technologies}
    known = [name for name in LOOKS if name in present]
    return known + sorted(present - set(known))


def config() -> dict[str, Any]:
    """Vega-Lite configuration of every chart."""
    axis = {
        "domain": True,
        "domainColor": INK,
        "domainWidth": 0.8,
        "tickColor": INK,
        "tickSize": 4,
        "tickWidth": 0.8,
        "gridColor": RULE,
        "gridWidth": 0.7,
        "labelColor": INK,
        "labelFontSize": TEXT_PX,
        "labelPadding": 4,
        "labelFlush": False,
        "titleColor": SOFT_INK,
        "titleFontSize": TEXT_PX,
        "titleFontWeight": "normal",
    }
    return {
        "font": FONT,
        "background": PAPER,
        "view": {"stroke": None},
        "axis": axis,
        "text": {"fontSize": TEXT_PX, "fill": INK},
    }
