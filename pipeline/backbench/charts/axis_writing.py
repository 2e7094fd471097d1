"""The axes of a specification as SVG: grid, ticks, numbers, the axis itself and its title.

The numbers' places are the renderer's: at the tick, below or left of it; grid and ticks lie on
whole pixels and half a pixel off, so that they are sharp.
"""

from __future__ import annotations

import itertools
import json
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import quoteattr

from backbench.charts import theme
from backbench.charts.chart_text import text_width
from backbench.charts.mark_writing import require, scale_along
from backbench.charts.svg_elements import element, px, text_element

LABELS = re.compile(r"(\[.*\])\[indexof\((\[.*\]), datum\.value\)\]", re.DOTALL)
LEVEL = {"titleAngle": 0, "titleAlign": "left", "titleAnchor": "end", "titleBaseline": "bottom"}
KNOWN = {"format", "labelExpr", "title", "values", "titleX", "titleY", *LEVEL}
LABEL_PX, TITLE_PX = 19, 37
"""The baselines of numbers and title below a horizontal axis."""
LEFT_PX, BELOW_PX, TICK_PX = -8, 4, 4
"""A vertical axis's numbers end so far left of it, their baseline so far below the tick."""
TITLE_UP_PX = -3
"""The baseline of a text whose lower edge is placed."""
APART_PX = 4.0
"""Numbers nearer to each other are left to the renderer, which leaves some of them out."""


@dataclass(frozen=True)
class _Side:
    """One side's axis: its ticks in pixels and its numbers; None where it has no axis."""

    ticks: tuple[float, ...]
    labels: tuple[str, ...]
    title: str
    title_x: float
    title_y: float
    spoken: str


def written_axes(layers: Sequence[Mapping[str, Any]], size: tuple[float, float]) -> Iterator[str]:
    """Grids first, then the axes. Raises UnwrittenError."""
    across, up = _side(layers, "x", (0.0, size[0])), _side(layers, "y", (size[1], 0.0))
    bottom = f"translate(0.5,{px(size[1] + 0.5)})"
    if across:
        require(_readable(across))
        yield _moved(bottom, _grid(across.ticks, lambda t: (t, -size[1]), (0.0, size[1])))
    if up:
        yield _moved("translate(0.5,0.5)", _grid(up.ticks, lambda t: (0.0, t), (size[0], 0.0)))
    if across:
        yield _moved(bottom, _horizontal(across, size[0]), across.spoken)
    if up:
        yield _moved("translate(0.5,0.5)", _vertical(up, size[1]), up.spoken)


def _side(
    layers: Sequence[Mapping[str, Any]], channel: str, ends: tuple[float, float]
) -> _Side | None:
    """The axis that the layers share. Raises UnwrittenError where they differ in scale or axis."""
    given = [one["encoding"].get(channel, {}) for one in layers]
    placed = [one for one in given if one.get("scale")]
    if not placed:
        return None
    first = placed[0]
    require(all(one["scale"] == first["scale"] and one["axis"] == first["axis"] for one in placed))
    stated = first["axis"]
    if stated is None:
        return None
    require(stated.keys() <= KNOWN and stated.get("title"))
    if channel == "y":
        require(all(stated.get(name) == value for name, value in LEVEL.items()))
    values, along = stated["values"], scale_along(first["scale"], *ends)
    ticks, (low, high) = tuple(along(v) for v in values), sorted(ends)
    require(all(low - 1e-6 <= t <= high + 1e-6 for t in ticks))
    require(channel == "x" or _apart(ticks))
    title = (stated.get("titleX", 0.0), stated.get("titleY", 0.0))
    kind, words = first["scale"]["type"], stated["title"]
    spoken = f"{channel.upper()}-axis titled '{words}' for a {kind} scale"
    return _Side(ticks, _labels(stated["labelExpr"], values), words, *title, spoken)


def _labels(text: str, values: Sequence[float]) -> tuple[str, ...]:
    match = LABELS.fullmatch(text)
    require(match)
    assert match is not None
    require(json.loads(match[2]) == list(values))
    return tuple(str(label) for label in json.loads(match[1]))


def _readable(across: _Side) -> bool:
    """Whether no number of a horizontal axis comes near the next."""
    ends = [
        (t - text_width(label, theme.TEXT_PX) / 2, t + text_width(label, theme.TEXT_PX) / 2)
        for t, label in sorted(zip(across.ticks, across.labels, strict=True))
    ]
    return all(right + APART_PX <= left for (_, right), (left, _) in itertools.pairwise(ends))


def _apart(ticks: Sequence[float]) -> bool:
    """Whether no number of a vertical axis comes near the next."""
    pairs = itertools.pairwise(sorted(ticks))
    return all(high - low >= theme.TEXT_PX + APART_PX for low, high in pairs)


def _moved(transform: str, content: str, spoken: str = "") -> str:
    words = f" aria-label={quoteattr(spoken)}" if spoken else ""
    return f'<g class="mark-group role-axis" transform="{transform}"{words}>{content}</g>'


def _group(role: str, content: str) -> str:
    kind = "text" if role in ("label", "title") else "rule"
    return f'<g class="mark-{kind} role-axis-{role}" pointer-events="none">{content}</g>'


def _line(place: tuple[float, float], end: tuple[float, float], colour: str, width: float) -> str:
    return element("line", {
        "transform": f"translate({px(place[0])},{px(place[1])})", "x2": end[0], "y2": end[1],
        "stroke": colour, "stroke-width": width,
    })  # fmt: skip


def _whole(tick: float) -> int:
    return math.floor(tick + 0.5)


def _grid(
    ticks: Sequence[float], place: Callable[[float], tuple[float, float]], end: tuple[float, float]
) -> str:
    look = theme.config()["axis"]
    lines = (_line(place(_whole(t)), end, look["gridColor"], look["gridWidth"]) for t in ticks)
    return _group("grid", "".join(lines))


def _axis_lines(places: Sequence[tuple[float, float]], end: tuple[float, float]) -> str:
    look = theme.config()["axis"]
    return "".join(_line(at, end, look["domainColor"], look["domainWidth"]) for at in places)


def _horizontal(side: _Side, width: float) -> str:
    labels = "".join(
        text_element(label, (t, LABEL_PX), theme.TEXT_PX, theme.INK, "middle")
        for t, label in zip(side.ticks, side.labels, strict=True)
    )
    title = text_element(side.title, (width / 2, TITLE_PX), theme.TEXT_PX, theme.SOFT_INK, "middle")
    return (
        _group("tick", _axis_lines([(_whole(t), 0.0) for t in side.ticks], (0.0, TICK_PX)))
        + _group("label", labels)
        + _group("domain", _axis_lines([(0.0, 0.0)], (width, 0.0)))
        + _group("title", title)
    )


def _vertical(side: _Side, height: float) -> str:
    labels = "".join(
        text_element(label, (LEFT_PX, t + BELOW_PX), theme.TEXT_PX, theme.INK, "end")
        for t, label in zip(side.ticks, side.labels, strict=True)
    )
    place = (side.title_x, side.title_y + TITLE_UP_PX)
    title = text_element(side.title, place, theme.TEXT_PX, theme.SOFT_INK, "start")
    return (
        _group("tick", _axis_lines([(0.0, _whole(t)) for t in side.ticks], (-TICK_PX, 0.0)))
        + _group("label", labels)
        + _group("domain", _axis_lines([(0.0, height)], (0.0, -height)))
        + _group("title", title)
    )
