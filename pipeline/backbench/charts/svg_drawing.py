"""A chart's specification as an SVG picture, its texts written by this program itself.

The renderer measures each text that it draws, which takes longer than all the rest; the places of
these texts are known already.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import vl_convert

from backbench.charts import theme
from backbench.charts.page_layout import HALO_PX, LOOK_OF_ROW

ANCHORS = {"left": "start", "center": "middle", "right": "end"}
Row = Mapping[str, Any]


def svg_of(spec: Mapping[str, Any]) -> str:
    """The picture of a specification; quickly where `page_layout.assemble` put it together."""
    texts = [one for one in spec.get("layer", []) if _is_of_texts(one)]
    rest = layers_beside_texts(spec)
    if not rest or not texts:
        return _rendered(spec)
    rows = [row for one in texts if not _is_halo(one) for row in rows_of(spec, one)]
    svg = _rendered({**spec, "layer": rest})
    head, end, _ = svg.rpartition("</svg>")
    padding = spec["padding"]
    place = f"translate({padding['left']:g},{padding['top']:g})"
    return f'{head}<g transform="{place}" {FACE}>{"".join(_written(rows))}</g>{end}'


def layers_beside_texts(spec: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The layers that the renderer draws, in the order that its marks are numbered by."""
    return [one for one in spec.get("layer", []) if not _is_of_texts(one)]


FACE = f"font-family={quoteattr(theme.FONT)}"


def _rendered(spec: Mapping[str, Any]) -> str:
    return str(vl_convert.vegalite_to_svg(dict(spec), allowed_base_urls=[]))


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
