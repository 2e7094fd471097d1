"""Values of a drawn picture's marks, read off its axes as a reader would: by the ticks' labels."""

from __future__ import annotations

import re
from collections.abc import Callable
from xml.etree import ElementTree as ET

import numpy as np

from backbench.charts.drawn_marks import MOVE, SVG, DrawnMark, drawn_marks

PREFIXES = {"": 1.0, "m": 1e-3, "µ": 1e-6, "k": 1e3, "M": 1e6}
UNITS = ("Hz", "Ω", "W", "V", "%", "dB")
Reader = Callable[[float], float]


def value_of(label: str) -> float:
    """The value of a tick's label, such as "2\u00a0kHz" or "−3"."""
    text = label.replace("−", "-").replace("\u2009", "").replace("\u00a0", " ")
    number, _, unit = text.partition(" ")
    prefix = unit
    for one in UNITS:
        prefix = prefix.removesuffix(one)
    return float(number) * PREFIXES[prefix]


def readers(svg: str) -> dict[str, Reader]:
    """From pixels of the picture to values, for the axes "X" and "Y" that have labelled ticks."""
    found: dict[str, Reader] = {}
    _walk(ET.fromstring(svg), 0.0, 0.0, found)
    return found


def _walk(node: ET.Element, x: float, y: float, found: dict[str, Reader]) -> None:
    moved = MOVE.match(node.get("transform", ""))
    if moved:
        x, y = x + float(moved[1]), y + float(moved[2])
    named = re.match("([XY])-axis", node.get("aria-label", ""))
    if named:
        log = "for a log scale" in node.get("aria-label", "")
        found[named[1]] = _reader(list(_ticks(node, x, y, named[1])), log=log)
        return
    for child in node:
        _walk(child, x, y, found)


def _ticks(node: ET.Element, x: float, y: float, side: str) -> list[tuple[float, float]]:
    """Pixel and value of each labelled tick; the pixel is the tick's, not its label's."""
    pixels: list[float] = []
    values: list[float] = []

    def walk(one: ET.Element, x: float, y: float, within: str) -> None:
        moved = MOVE.match(one.get("transform", ""))
        if moved:
            x, y = x + float(moved[1]), y + float(moved[2])
        within = one.get("class", within)
        if "role-axis-label" in within and one.tag == f"{SVG}text":
            # Labels stand on their tick's middle; the vertical ones 5 px lower, by their baseline.
            pixels.append(x if side == "X" else y - 5.0)
            values.append(value_of(one.text or ""))
        for child in one:
            walk(child, x, y, within)

    for child in node:
        walk(child, x, y, "")
    return list(zip(pixels, values, strict=True))


def _reader(ticks: list[tuple[float, float]], *, log: bool) -> Reader:
    pixels = [pixel for pixel, _ in ticks]
    values = [np.log10(value) if log else value for _, value in ticks]
    slope, start = np.polyfit(pixels, values, 1)
    return lambda pixel: float(10 ** (slope * pixel + start) if log else slope * pixel + start)


def marks_of(svg: str, role: str) -> list[DrawnMark]:
    """The marks of one role, in the order of painting."""
    return [mark for mark in drawn_marks(svg) if mark.role == role]
