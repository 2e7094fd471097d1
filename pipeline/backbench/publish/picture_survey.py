"""How many faults all pictures of a site have, by kind, in every way that they are seen."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from backbench.charts.drawing import PAGE
from backbench.charts.page_layout import NARROW_PX
from backbench.charts.picture_faults import KINDS, picture_faults
from backbench.charts.picture_labels import size_of_svg
from backbench.quantities.counts import counted


@dataclass(frozen=True)
class WayOfSeeing:
    """A way of seeing pictures: how many pixels wide, on a dark screen, and those drawn for what.

    narrow: those for a phone; printed: those for the whole width of a printed sheet.
    """

    name: str
    width: int
    narrow: bool = False
    dark: bool = False
    printed: bool = False

    def shows(self, width: float) -> bool:
        """Whether a picture of this width was drawn to be seen so."""
        drawn_for = (width < NARROW_PX, NARROW_PX <= width < PAGE.width)
        return (self.narrow, self.printed) == drawn_for


VIEWS = (
    WayOfSeeing("page of 1280 px", 896),
    WayOfSeeing("page of 1280 px, dark", 896, dark=True),
    WayOfSeeing("phone of 360 px", 326, narrow=True),
    WayOfSeeing("phone of 360 px, dark", 326, narrow=True, dark=True),
    WayOfSeeing("printed sheet, A4 or Letter", 336, narrow=True),
    WayOfSeeing("printed sheet, whole width", 688, printed=True),
)
"""Widths of the picture itself: less the margins of its page, and in columns there."""


def survey(pictures: Sequence[str]) -> dict[str, Counter[str]]:
    """Faults by kind for each way of seeing: of every SVG that is shown that way.

    The key "pictures" counts the pictures.
    """
    counts = {view.name: Counter[str]() for view in VIEWS}
    for svg in pictures:
        width = size_of_svg(svg)[0]
        for view in VIEWS:
            if view.shows(width):
                found = {*picture_faults(svg, min(1.0, view.width / width), dark=view.dark)}
                counts[view.name].update(fault.kind for fault in found)
                counts[view.name]["pictures"] += 1
    return counts


def survey_as_drawn(name: str, pictures: Sequence[str]) -> dict[str, Counter[str]]:
    """The same of pictures that are shown as large as they are drawn, on light and dark ground."""
    counts: dict[str, Counter[str]] = {}
    for dark in (False, True):
        found = counts[name + ", dark" * dark] = Counter()
        for svg in pictures:
            found["pictures"] += 1
            found.update(fault.kind for fault in {*picture_faults(svg, dark=dark)})
    return counts


def survey_lines(counts: Mapping[str, Counter[str]]) -> Iterator[str]:
    """A line for each way of seeing: how many pictures, and each kind of fault with its count."""
    for name, found in counts.items():
        faults = ", ".join(f"{kind} {found[kind]}" for kind in KINDS)
        yield f"{name}: {counted(found['pictures'], 'picture')}; {faults}"
