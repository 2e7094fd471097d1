"""Pictures of very many marks as pixels: as drawings they would outweigh the page around them."""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from backbench.charts.dark_theme import in_theme

if TYPE_CHECKING:
    from backbench.publish.sheet_charts import Picture
    from backbench.publish.site_builder import SiteBuilder

MOST_BYTES = 300_000
"""What a drawing takes at most on the first page, with that for a phone; some 300 units of a
trend."""
COLOURS = 32
FINER = 2
"""Pixels of the image for each one that it is shown at."""


def landing_picture(builder: SiteBuilder, picture: Picture) -> Iterator[Any]:
    """What the first page's template needs of a picture, and then its files."""
    phone = picture.narrow.svg if picture.narrow else ""
    if len(picture.svg) + len(phone) <= MOST_BYTES:
        values, files = builder.save_picture(picture, up="")
        yield values
        yield from files
        return
    files = [
        builder.file(_path(drawn, dark=dark), _pixels(drawn, dark=dark))
        for drawn in (picture, picture.narrow)
        if drawn
        for dark in (False, True)
    ]
    yield {"alt": picture.alt, "title": picture.title, **_values(picture),
           "narrow": _values(picture.narrow) if picture.narrow else None}  # fmt: skip
    yield from files


def _values(drawn: Picture) -> dict[str, Any]:
    return {
        "src": _path(drawn, dark=False), "dark": _path(drawn, dark=True),
        "width": drawn.width, "height": drawn.height,
    }  # fmt: skip


def _path(drawn: Picture, *, dark: bool) -> str:
    return f"charts/{drawn.digest}{'-dark' * dark}.png"


def _pixels(drawn: Picture, *, dark: bool) -> bytes:
    from backbench.charts.drawing import Size
    from backbench.charts.still_canvas import Canvas, still_png

    own = Size(drawn.width, drawn.height)
    finer = Size(own.width * FINER, own.height * FINER)
    svg = in_theme(drawn.svg, dark=False)
    return _few_colours(still_png([(svg, own)], Canvas(finer, dark=dark)))


def _few_colours(png: bytes) -> bytes:
    """The image with COLOURS of its colours: a sixth of the bytes for the same look."""
    from PIL import Image

    written = io.BytesIO()
    whole = Image.open(io.BytesIO(png)).convert("RGB")
    few = whole.quantize(COLOURS, dither=Image.Dither.NONE)
    few.save(written, "PNG", optimize=True)
    return written.getvalue()
