"""Charts written to files: one offline page, SVG, or PNG of an exact size."""

from __future__ import annotations

import html
import json
from pathlib import Path
from typing import Any

import altair as alt
import vl_convert

from backbench.charts import theme
from backbench.charts.dark_theme import DARK, SCREEN, dark_rules
from backbench.charts.drawing import Size
from backbench.charts.script_library import policy_hash, script_library, script_library_hash
from backbench.charts.svg_drawing import svg_of
from backbench.charts.unchecked import specification
from backbench.errors import Fault, UserError
from backbench.storage.atomic_io import write_user_file

STILL = Size(1920, 1080)
STILL_LARGE = Size(3840, 2160)


def save(chart: alt.TopLevelMixin, path: Path, size: Size | None = None) -> None:
    """Write the chart as its suffix says: .html, .svg or .png.

    size: of a PNG in pixels, STILL where it is not given; the chart's own proportions.
    Raises UserError for another suffix or other proportions.
    """
    writers = {".html": offline_page, ".svg": _svg}
    suffix = path.suffix.lower()
    if suffix == ".png":
        content = png(chart, size)
    elif suffix in writers:
        content = writers[suffix](chart).encode()
    else:
        fault = Fault(
            str(path), suffix or "a name without an ending", "a name ending in .html, .svg or .png"
        )
        raise UserError("the chart can't be written", [fault])
    write_user_file(path, content)


def png(chart: alt.TopLevelMixin, size: Size | None = None) -> bytes:
    """The chart as a PNG of exactly this size. Raises UserError for other proportions."""
    spec = specification(chart)
    own = size_of(spec)
    if size is None:
        size = Size(own.width * 2, own.height * 2)
    if size.width * own.height != size.height * own.width:
        fault = Fault("size", f"{size.width} x {size.height}", f"as {own.width} to {own.height}")
        raise UserError("the chart was drawn for other proportions", [fault])
    return bytes(
        vl_convert.vegalite_to_png(spec, scale=size.width / own.width, ppi=72, allowed_base_urls=[])
    )


def size_of(spec: dict[str, Any]) -> Size:
    """The whole picture's size in layout pixels: plot and margins."""
    padding = spec["padding"]
    return Size(
        round(spec["width"] + padding["left"] + padding["right"]),
        round(spec["height"] + padding["top"] + padding["bottom"]),
    )


def _svg(chart: alt.TopLevelMixin) -> str:
    return svg_of(specification(chart))


def offline_page(chart: alt.TopLevelMixin) -> str:
    """A page of its own that loads nothing and may load nothing."""
    return page_of(specification(chart))


def page_of(spec: dict[str, Any]) -> str:
    """The page of a specification.

    The specification is set into a script, so every "<" in it is written as an escape:
    a label that holds markup stays a label. The page's content security policy allows its own
    two scripts and its own style, by their hashes, and neither network nor evaluated text.
    """
    description = html.escape(str(spec.get("description", "chart")))
    style = STYLE.format(paper=theme.PAPER, ink=theme.INK, width=size_of(spec).width)
    style += DARK_STYLE.format(screen=SCREEN, paper=DARK[theme.PAPER], ink=DARK[theme.INK])
    style += dark_rules("#chart ")
    code = DRAWN.format(spec=json.dumps(spec).replace("<", "\\u003c"))
    policy = POLICY.format(
        style=policy_hash(style), library=script_library_hash(), code=policy_hash(code)
    )
    return PAGE.format(
        title=description, policy=policy, style=style, library=script_library(), code=code
    )


POLICY = (
    "default-src 'none'; style-src '{style}'; script-src '{library}' '{code}'; img-src data:; "
    "base-uri 'none'; form-action 'none'"
)
STYLE = """
body {{ margin: 0; background: {paper}; }}
#chart {{ display: block; max-width: {width}px; margin: 0 auto; }}
#chart svg {{ width: 100%; height: auto; display: block; }}
#vg-tooltip-element {{ visibility: hidden; position: fixed; z-index: 1;
  padding: 8px; max-width: 30em; font: 13px/1.4 sans-serif;
  color: {ink}; background: {paper}; border: 1px solid {ink}; }}
#vg-tooltip-element.visible {{ visibility: visible; }}
#vg-tooltip-element td.key {{ text-align: right; padding-right: 6px; vertical-align: top; }}
"""
DARK_STYLE = """
{screen} {{ body {{ background: {paper}; }}
#chart svg {{ background: {paper} !important; }}
#vg-tooltip-element {{ color: {ink}; background: {paper}; border-color: {ink}; }} }}
"""
# Styles of the libraries would be put in at run time, where the policy can't know them.
DRAWN = """
const spec = {spec};
const tooltip = {{ disableDefaultStyle: true }};
vegaEmbed("#chart", spec, {{
  actions: false, renderer: "svg", ast: true, defaultStyle: false, tooltip,
}});
"""
PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>{style}</style>
</head>
<body>
<main id="chart" role="img" aria-label="{title}"></main>
<script>{library}</script>
<script>{code}</script>
</body>
</html>
"""
