"""A specification's marks as SVG, written by this program instead of by the renderer.

Charts of this program use few forms: a layer over its own rows, positions on one linear or
logarithmic scale a side, looks that are fixed or a technology's. What is drawn of these is plain
arithmetic, for which the renderer takes twenty times as long. Anything else raises
`UnwrittenError`, and the renderer draws the picture. The order of marks and the classes of groups
are the renderer's.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from backbench.charts import theme
from backbench.charts.svg_elements import Attributes, element, px, text_element
from backbench.charts.symbol_paths import symbol_path

Row = Mapping[str, Any]
Place = Callable[[Row], float]
Look = Callable[[Row], Any]
SPLIT_BY = ("color", "detail", "strokeDash")
GROUPS = {"rule": "rule", "line": "line", "area": "area", "point": "symbol", "circle": "symbol",
          "rect": "rect", "text": "text"}  # fmt: skip
KNOWN = {
    "rule": {"color", "strokeDash", "strokeOpacity", "strokeWidth"},
    "line": {"color", "strokeDash", "strokeWidth", "clip"},
    "area": {"color", "fillOpacity", "opacity", "stroke", "strokeWidth", "clip"},
    "point": {"color", "fill", "stroke", "strokeWidth", "filled", "opacity", "shape", "size",
              "clip"},
    "circle": {"color", "opacity", "size"},
    "rect": {"color", "opacity"},
    "text": {"text", "dx", "dy", "fontSize", "baseline", "color"},
}  # fmt: skip
"""Properties of marks that are written here."""


class UnwrittenError(Exception):
    """A form that only the renderer knows."""


def require(known: object) -> None:
    """Leave to the renderer what isn't known. Raises UnwrittenError."""
    if not known:
        raise UnwrittenError


def written_marks(
    one: Mapping[str, Any], rows: Sequence[Row], position: int, size: tuple[float, float]
) -> str:
    """A layer's group with its marks. position: of the layer among those drawn; size: of the plot.

    Raises UnwrittenError.
    """
    mark, encoding = one["mark"], one["encoding"]
    require(isinstance(mark, Mapping) and mark["type"] in KNOWN and rows)
    kind = mark["type"]
    require(mark.keys() <= KNOWN[kind] | {"type"} and one.keys() <= {"data", "mark", "encoding"})
    clip = ' clip-path="url(#plot)"' if mark.get("clip") else ""
    marks = "".join(WRITERS[kind](mark, encoding, rows, size))
    return f'<g class="mark-{GROUPS[kind]} role-mark layer_{position}_marks"{clip}>{marks}</g>'


def scale_along(scale: Mapping[str, Any], start: float, end: float) -> Callable[[float], float]:
    """Where values of a position scale lie in pixels. Raises UnwrittenError."""
    require(scale.get("type") in ("linear", "log") and scale.get("nice") is False)
    low, high = (float(one) for one in scale["domain"])
    if scale["type"] == "linear":
        require(scale.keys() == {"type", "domain", "nice", "zero"} and low != high)
        rate = (end - start) / (high - low)
        return lambda value: start + rate * (value - low)
    require(scale.keys() == {"type", "domain", "nice"} and min(low, high) > 0 and low != high)
    rate = (end - start) / math.log10(high / low)
    return lambda value: start + rate * math.log10(value / low)


def _place(
    encoding: Mapping[str, Any], channel: str, size: tuple[float, float], main: str = ""
) -> Place:
    """Where a row's mark lies along one side. main: the channel whose scale it shares."""
    given = encoding[channel]
    if "value" in given:
        require(given.keys() == {"value"})
        return lambda row: float(given["value"])
    of = encoding[main or channel]
    require(given.keys() <= {"field", "type", "scale", "axis"} and "field" in given)
    require("scale" in of)
    field = given["field"]
    if of["scale"] is None:
        return lambda row: _number(row, field)
    ends = (0.0, size[0]) if channel in ("x", "x2") else (size[1], 0.0)
    along = scale_along(of["scale"], *ends)
    positive = of["scale"]["type"] == "log"
    return lambda row: along(_number(row, field, positive=positive))


def _number(row: Row, field: str, *, positive: bool = False) -> float:
    value = row.get(field)
    require(isinstance(value, (int, float)) and not isinstance(value, bool))
    number = float(value)  # type: ignore[arg-type]
    require(number > 0 or not positive)
    return number


def _look(encoding: Mapping[str, Any], channel: str, otherwise: Any) -> Look:
    """A colour, shape or dashes: of the row, of the layer, or what the mark itself states."""
    given = encoding.get(channel)
    if given is None:
        return lambda row: otherwise
    if "value" in given:
        require(given.keys() == {"value"})
        return lambda row: given["value"]
    require(given.keys() <= {"field", "type", "scale", "legend"} and "field" in given)
    field, scale = given["field"], given.get("scale", {})
    if scale is None:
        return lambda row: row.get(field)
    require(scale.keys() == {"domain", "range"} and given.get("legend", 0) is None)
    looks = dict(zip(scale["domain"], scale["range"], strict=True))

    def of_row(row: Row) -> Any:
        require(row.get(field) in looks)
        return looks[row[field]]

    return of_row


def _only(encoding: Mapping[str, Any], channels: set[str]) -> None:
    require(encoding.keys() <= channels | {"tooltip"})


COLOUR = re.compile("#[0-9a-f]{6}")


def _colour(colour: Any) -> str:
    require(isinstance(colour, str) and COLOUR.fullmatch(colour))
    return str(colour)


def _stroke(colour: Any, width: float | None, dash: Any = None) -> Attributes:
    require(width is not None)
    dashes = ",".join(map(px, dash)) if dash else None
    return {"stroke": _colour(colour), "stroke-width": width, "stroke-dasharray": dashes}


def _shade(mark: Row, colour: Any) -> Attributes:
    """The fill of a mark, and its opacity where it has any."""
    return {
        "fill": _colour(colour), "fill-opacity": mark.get("fillOpacity"),
        "opacity": None if mark.get("opacity", 1) == 1 else mark["opacity"],
    }  # fmt: skip


def _rules(
    mark: Row, encoding: Row, rows: Sequence[Row], size: tuple[float, float]
) -> Iterator[str]:
    _only(encoding, {"x", "x2", "y", "y2", "color"})
    x, y = _place(encoding, "x", size), _place(encoding, "y", size)
    x2 = _place(encoding, "x2", size, "x") if "x2" in encoding else x
    y2 = _place(encoding, "y2", size, "y") if "y2" in encoding else y
    colour = _look(encoding, "color", mark.get("color"))
    for row in rows:
        left, top = x(row), y(row)
        yield element("line", {
            "transform": f"translate({px(left)},{px(top)})",
            "x2": x2(row) - left, "y2": y2(row) - top,
            **_stroke(colour(row), mark.get("strokeWidth", 1), mark.get("strokeDash")),
            "stroke-opacity": mark.get("strokeOpacity"),
        })  # fmt: skip


def _lines(
    mark: Row, encoding: Row, rows: Sequence[Row], size: tuple[float, float]
) -> Iterator[str]:
    _only(encoding, {"x", "y", *SPLIT_BY})
    x, y = _place(encoding, "x", size), _place(encoding, "y", size)
    colour = _look(encoding, "color", mark.get("color"))
    dash = _look(encoding, "strokeDash", mark.get("strokeDash"))
    for run in _runs(encoding, rows):
        stroke = _stroke(colour(run[0]), mark.get("strokeWidth"), dash(run[0]))
        yield element("path", {"d": _path([(x(row), y(row)) for row in run]), **stroke})


def _runs(encoding: Row, rows: Sequence[Row]) -> list[list[Row]]:
    """The rows of each line, from left to right."""
    fields = [encoding[name]["field"] for name in SPLIT_BY if "field" in encoding.get(name, {})]
    runs: dict[tuple[Any, ...], list[Row]] = {}
    for row in rows:
        runs.setdefault(tuple(row.get(field) for field in fields), []).append(row)
    across = encoding["x"].get("field")
    require(across)
    return [sorted(run, key=lambda row: _number(row, across)) for run in runs.values()]


def _path(points: Sequence[tuple[float, float]], *, closed: bool = False) -> str:
    path = "M" + "L".join(f"{px(x)},{px(y)}" for x, y in points)
    return path + "Z" * (closed or len(points) == 1)


def _areas(
    mark: Row, encoding: Row, rows: Sequence[Row], size: tuple[float, float]
) -> Iterator[str]:
    _only(encoding, {"x", "y", "y2"})
    require("opacity" in mark and "y2" in encoding)
    x, y, y2 = (_place(encoding, *one) for one in (("x", size), ("y", size), ("y2", size, "y")))
    (run,) = _runs(encoding, rows)
    edge = [(x(row), y(row)) for row in run] + [(x(row), y2(row)) for row in reversed(run)]
    yield element("path", {
        "d": _path(edge, closed=True), **_shade(mark, mark.get("color")),
        **(_stroke(mark["stroke"], mark.get("strokeWidth")) if "stroke" in mark else {}),
    })  # fmt: skip


def _points(
    mark: Row, encoding: Row, rows: Sequence[Row], size: tuple[float, float]
) -> Iterator[str]:
    _only(encoding, {"x", "y", "color", "stroke", "shape", "size"})
    require("opacity" in mark and (mark.get("filled") or "fill" in mark))
    x, y = _place(encoding, "x", size), _place(encoding, "y", size)
    fill = _look(encoding, "color", mark.get("color")) if "fill" not in mark else None
    require(fill or "color" not in encoding)
    stroke = _look(encoding, "stroke", mark.get("stroke"))
    shape = _look(encoding, "shape", mark.get("shape", "circle"))
    area = _look(encoding, "size", mark.get("size"))
    for row in rows:
        edge, outline = stroke(row), symbol_path(shape(row), _number({"area": area(row)}, "area"))
        require(outline)
        yield element("path", {
            "transform": f"translate({px(x(row))},{px(y(row))})", "d": outline,
            **_shade(mark, fill(row) if fill else mark["fill"]),
            **(_stroke(edge, mark.get("strokeWidth")) if edge is not None else {}),
        })  # fmt: skip


def _circles(
    mark: Row, encoding: Row, rows: Sequence[Row], size: tuple[float, float]
) -> Iterator[str]:
    return _points({**mark, "filled": True}, encoding, rows, size)


def _rects(
    mark: Row, encoding: Row, rows: Sequence[Row], size: tuple[float, float]
) -> Iterator[str]:
    _only(encoding, {"x", "x2", "y", "y2"})
    sides = (("x", size), ("x2", size, "x"), ("y", size), ("y2", size, "y"))
    require(len(encoding.keys() - {"tooltip"}) == len(sides))
    x, x2, y, y2 = (_place(encoding, *one) for one in sides)
    for row in rows:
        (left, right), (top, low) = sorted((x(row), x2(row))), sorted((y(row), y2(row)))
        across, down = px(right - left), px(low - top)
        path = f"M{px(left)},{px(top)}h{across}v{down}h-{across}Z"
        yield element("path", {"d": path, **_shade(mark, mark.get("color"))})


MIDDLE = 0.3
"""How far the baseline lies below a text's middle, in sizes of the face."""


def _texts(
    mark: Row, encoding: Row, rows: Sequence[Row], size: tuple[float, float]
) -> Iterator[str]:
    _only(encoding, {"x", "y", "color"})
    require(mark.get("baseline", "middle") == "middle" and isinstance(mark.get("text"), str))
    x, y = _place(encoding, "x", size), _place(encoding, "y", size)
    colour = _look(encoding, "color", mark.get("color"))
    high = mark.get("fontSize", theme.TEXT_PX)
    below = mark.get("dy", 0) + round(MIDDLE * high)
    for row in rows:
        place = (x(row) + mark.get("dx", 0), y(row) + below)
        yield text_element(mark["text"], place, high, _colour(colour(row)), "middle")


WRITERS: Mapping[str, Callable[[Row, Row, Sequence[Row], tuple[float, float]], Iterator[str]]] = {
    "rule": _rules, "line": _lines, "area": _areas, "point": _points, "circle": _circles,
    "rect": _rects, "text": _texts,
}  # fmt: skip
