"""How many faults real stills have: of each size, as a video shows them at half its size."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from backbench.charts.drawing import Size
from backbench.charts.picture_faults import picture_faults
from backbench.charts.still_canvas import Canvas, placed
from backbench.publish.site_builder import SiteBuilder
from backbench.publish.stills import stills_of

SCREEN_PX = 1920
"""The longer side of the screen that a larger still is shown on."""
HALF = 0.5


def surveyed_stills(
    builder: SiteBuilder, reviews: Sequence[str], sizes: Sequence[Size]
) -> dict[str, Counter[str]]:
    """Faults by kind for each size and ground, of every still of these reviews.

    Without a ground a still has the texts and places of the one on light or dark ground, and what
    it lies on is not known: it is counted with them. Raises UserError for an unknown review.
    """
    counts: dict[str, Counter[str]] = {}
    for size in sizes:
        for dark in (False, True):
            counts[_name(size, dark=dark)] = Counter()
    for svgs, size in _drawn(builder, reviews, sizes):
        for dark in (False, True):
            found = counts[_name(size, dark=dark)]
            found["pictures"] += 1
            scale = shown_scale([own for _, own in svgs], size)
            for svg, _ in svgs:
                found.update(f.kind for f in {*picture_faults(svg, scale, dark=dark)})
    return counts


def shown_scale(pictures: Sequence[Size], canvas: Size) -> float:
    """How large pictures of a still are seen: in a video at half the size of a screen."""
    shown = min(1.0, SCREEN_PX / max(canvas.width, canvas.height))
    return placed(pictures, canvas).scale * shown * HALF


def _drawn(
    builder: SiteBuilder, reviews: Sequence[str], sizes: Sequence[Size]
) -> Iterator[tuple[list[tuple[str, Size]], Size]]:
    """Every still's pictures, drawn once for all canvases of the same proportions."""
    alike: dict[float, list[Size]] = {}
    for size in sizes:
        alike.setdefault(size.width / size.height, []).append(size)
    for review in reviews:
        for some in alike.values():
            for still in stills_of(builder, review, Canvas(some[0])):
                pictures = still.pictures()
                for size in some:
                    yield pictures, size


def _name(size: Size, *, dark: bool) -> str:
    return f"still of {size.width} by {size.height} px at half size" + ", dark" * dark
