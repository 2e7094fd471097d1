"""A drawn picture whose marks say their values: read by a page's script, under a pointer or by
keys.

The renderer draws the marks of a layer in the order of its rows, and a line for each group of
them. A layer whose marks don't answer its rows one to one stays mute.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from xml.etree import ElementTree as ET

from backbench.charts.mark_layers import GROUP, SAYER, SAYS
from backbench.charts.svg_drawing import Row, layers_beside_texts, rows_of

SVG = "http://www.w3.org/2000/svg"
VERTEX = re.compile("[ML]")
SPLIT_BY = ("color", "detail", "strokeDash", "stroke", "shape")
DROPPED = ("role", "aria-roledescription", "aria-label", "aria-hidden")
ET.register_namespace("", SVG)


def with_readings(svg: str, spec: Mapping[str, Any]) -> str:
    """The picture of a specification, its marks with what they say.

    data-says: a text a mark, or of a line one a vertex, on lines of their own. data-name: whose
    it is. data-group: what it is shown and hidden with. The renderer's own descriptions, raw
    numbers in the names of columns, are left out.
    """
    root = ET.fromstring(svg)
    for position, one in enumerate(layers_beside_texts(spec)):
        drawn = _marks(root, position)
        rows = list(rows_of(spec, one))
        if _kind(one) == "line":
            _lines_say(drawn, _runs(one, rows))
        elif _kind(one) == "point":
            _points_say(drawn, rows, one)
    _without_descriptions(root)
    return ET.tostring(root, encoding="unicode")


def _kind(one: Mapping[str, Any]) -> str:
    mark = one["mark"]
    return str(mark["type"] if isinstance(mark, Mapping) else mark)


def _marks(root: ET.Element, position: int) -> list[ET.Element]:
    wanted = f"layer_{position}_marks"
    groups = [g for g in root.iter(f"{{{SVG}}}g") if wanted in g.get("class", "").split()]
    return [mark for group in groups for mark in group]


def _points_say(drawn: Sequence[ET.Element], rows: Sequence[Row], one: Mapping[str, Any]) -> None:
    tips = one["encoding"].get("tooltip")
    if not isinstance(tips, list) or len(drawn) != len(rows):
        return
    for mark, row in zip(drawn, rows, strict=True):
        parts = [(tip.get("title", ""), row.get(tip["field"])) for tip in tips
                 if tip["field"] not in ("label", "technology")]  # fmt: skip
        texts = [f"{title}: {text}" if len(parts) > 1 and title else str(text)
                 for title, text in parts if text]  # fmt: skip
        _say(mark, row, "; ".join(texts), _whose(row))


def _whose(row: Row) -> str:
    """Unit and output; a unit of one side is called by it already."""
    label, output = (str(row.get(name) or "") for name in ("label", "output"))
    return label if label.endswith(f", {output}") else ", ".join(filter(None, (label, output)))


def _lines_say(drawn: Sequence[ET.Element], runs: Sequence[Sequence[Row]]) -> None:
    if len(drawn) != len(runs):
        return
    for line, run in zip(drawn, runs, strict=True):
        texts = [str(row.get(SAYS) or "") for row in run]
        whole = len(VERTEX.findall(line.get("d", ""))) == len(texts) and any(texts)
        _say(line, run[0], "\n".join(texts) if whole else "", run[0].get(SAYER) or _whose(run[0]))


def _say(mark: ET.Element, row: Row, text: str, whose: str) -> None:
    if not text and not whose:
        return
    mark.set("data-says", text)
    mark.set("data-name", whose)
    group = row.get(GROUP, row.get("technology"))
    if group:
        mark.set("data-group", str(group))


def _runs(one: Mapping[str, Any], rows: Iterable[Row]) -> list[list[Row]]:
    """The rows of each line of a layer, in the order in which the lines are drawn."""
    encoding = one["encoding"]
    fields = [encoding[name]["field"] for name in SPLIT_BY if "field" in encoding.get(name, {})]
    runs: dict[tuple[Any, ...], list[Row]] = {}
    for row in rows:
        runs.setdefault(tuple(row.get(field) for field in fields), []).append(row)
    across = encoding["x"].get("field")
    return [sorted(run, key=lambda row: row[across]) if across else run for run in runs.values()]


def _without_descriptions(root: ET.Element) -> None:
    for node in root.iter():
        for name in DROPPED:
            node.attrib.pop(name, None)
        for child in [child for child in node if _is_empty(child)]:
            node.remove(child)


def _is_empty(node: ET.Element) -> bool:
    """A frame of the renderer that shows nothing."""
    return node.get("class") in ("background", "foreground") and not (
        {"fill", "stroke"} & node.attrib.keys()
    )
