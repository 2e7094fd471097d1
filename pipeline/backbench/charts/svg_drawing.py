"""A chart's specification as an SVG picture, its texts written by this program itself.

The renderer measures each text that it draws, which takes longer than all the rest; the places of
these texts are known already. So are those of the marks, where they are of the forms that
`mark_writing` knows: then the whole picture is written here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import vl_convert

from backbench.charts import theme
from backbench.charts.axis_writing import written_axes
from backbench.charts.mark_writing import UnwrittenError, require, written_marks
from backbench.charts.page_layout import HALO_PX, LOOK_OF_ROW
from backbench.charts.svg_elements import element, px

ANCHORS = {"left": "start", "center": "middle", "right": "end"}
Row = Mapping[str, Any]


def svg_of(spec: Mapping[str, Any]) -> str:
    """The picture of a specification; quickly where `page_layout.assemble` put it together."""
    texts = [one for one in spec.get("layer", []) if _is_of_texts(one)]
    rest = layers_beside_texts(spec)
    if not rest or not texts:
        return _rendered(spec)
    rows = [row for one in texts if not _is_halo(one) for row in rows_of(spec, one)]
    svg = _written_picture(spec, rest) or _rendered({**spec, "layer": rest})
    head, end, _ = svg.rpartition("</svg>")
    padding = spec["padding"]
    place = f"translate({padding['left']:g},{padding['top']:g})"
    return f'{head}<g transform="{place}" {FACE}>{"".join(_written(rows))}</g>{end}'


def layers_beside_texts(spec: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The layers that the renderer draws, in the order that its marks are numbered by."""
    return [one for one in spec.get("layer", []) if not _is_of_texts(one)]


PLOT = '<defs><clipPath id="plot"><rect x="0" y="0" width="{}" height="{}" /></clipPath></defs>'


def _written_picture(spec: Mapping[str, Any], layers: Sequence[Mapping[str, Any]]) -> str:
    """The picture without its texts; "" where the renderer has to draw it."""
    plot, margins = (float(spec["width"]), float(spec["height"])), spec["padding"]
    try:
        require({**theme.config(), "view": None} == {**spec["config"], "view": None})
        axes = "".join(written_axes(layers, plot))
        marks = "".join(
            written_marks(one, list(rows_of(spec, one)), n, plot) for n, one in enumerate(layers)
        )
    except UnwrittenError:
        return ""
    width = px(plot[0] + margins["left"] + margins["right"])
    height = px(plot[1] + margins["top"] + margins["bottom"])
    paper = element("rect", {"width": width, "height": height, "fill": theme.PAPER})
    place = f"translate({px(margins['left'])},{px(margins['top'])})"
    clip = PLOT.format(*map(px, plot)) if "#plot" in marks else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" class="marks" width="{width}" '
        f'height="{height}" viewBox="0 0 {width} {height}">{paper}'
        f'<g fill="none" stroke-miterlimit="10" transform="{place}" {FACE}>{clip}{axes}{marks}'
        "</g></svg>"
    )


FACE = f"font-family={quoteattr(theme.FONT)}"


CLIPPING = re.compile(r'(\bid="|url\(#)(clip\d+)')


def _rendered(spec: Mapping[str, Any]) -> str:
    """The renderer counts clippings over all that a process draws; a picture counts its own."""
    svg = str(vl_convert.vegalite_to_svg(dict(spec), allowed_base_urls=[]))
    names: dict[str, str] = {}
    return CLIPPING.sub(
        lambda found: found[1] + names.setdefault(found[2], f"clip{len(names)}"), svg
    )


def _is_of_texts(one: Mapping[str, Any]) -> bool:
    mark = one.get("mark")
    return isinstance(mark, Mapping) and mark.get("align") == {
        "expr": f"datum.{LOOK_OF_ROW['align']}"
    }


def _is_halo(one: Mapping[str, Any]) -> bool:
    return "stroke" in one["mark"]


def rows_of(spec: Mapping[str, Any], one: Mapping[str, Any]) -> Iterable[Row]:
    """The rows that a layer of a specification draws."""
    data = one["data"]
    rows: Iterable[Row] = data["values"] if "values" in data else spec["datasets"][data["name"]]
    return rows


def _written(rows: Iterable[Row]) -> Iterator[str]:
    """A text element each; a halo is its own outline, painted first."""
    for row in rows:
        halo = (
            f' stroke="{theme.PAPER}" stroke-width="{HALO_PX}" stroke-linejoin="round"'
            ' paint-order="stroke"'
        ) if row["halo"] else ""  # fmt: skip
        bold = ' font-weight="bold"' if row["weight"] == "bold" else ""
        yield (
            f'<text text-anchor="{ANCHORS[row["align"]]}" '
            f'transform="translate({row["px"]:.7g},{row["py"]:.7g})" '
            f'font-size="{row["size"]:g}px"{bold} fill="{row["colour"]}"{halo}>'
            f"{escape(str(row['text']))}</text>"
        )
