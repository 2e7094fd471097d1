"""What is hard to see in a drawn picture: counted by kind, told in words.

Limits: text of at least 11 px as it is shown; marks 3:1 and text 4.5:1 against what they lie on
(WCAG 2, from memory). The grid and the cells that marks lie on are told from the paper by little
on purpose, and so are areas that have an edge.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from backbench.charts.dark_theme import DARK
from backbench.charts.drawn_marks import DrawnMark, Point, drawn_marks
from backbench.charts.line_peaks import line_peaks
from backbench.charts.picture_labels import Label, labelled
from backbench.charts.seen_contrast import contrast
from backbench.quantities.writing import number

LEAST_PX = 11.0
LEAST_OF_MARKS, LEAST_OF_TEXT = 3.0, 4.5
EDGE_PX = 0.5
"""So far a mark may reach out of the picture: the half pixel that axes are moved by."""


@dataclass(frozen=True)
class PictureFault:
    """One fault: its kind, and in words what is wrong."""

    kind: str
    text: str


KINDS = ("small text", "labels on each other", "labels on marks", "cut", "faint text",
         "faint marks", "drawn alike")  # fmt: skip
HAIRLINE_PX = 1.6
"""A thinner line is one of many peers, which share the look of their technology."""


def picture_faults(svg: str, scale: float = 1.0, *, dark: bool = False) -> list[PictureFault]:
    """Everything that is hard to see in a picture shown at a scale, on paper or a dark screen."""
    drawn = labelled(svg)
    marks = drawn_marks(svg, DARK if dark else None)
    size = (drawn.width, drawn.height)
    return [
        *_of_labels(drawn.labels, drawn.faults(LEAST_PX / scale - 1e-9)),
        *_on_marks(drawn.labels, marks),
        *_cut(marks, size),
        *_faint(marks),
        *_alike(marks),
    ]


def _of_labels(labels: Sequence[Label], texts: Sequence[str]) -> Iterator[PictureFault]:
    for text in texts:
        kind = "cut" if text.endswith("runs out of the picture") else (
            "labels on each other" if " lies on '" in text or ' lies on "' in text
            else "small text"
        )  # fmt: skip
        yield PictureFault(kind, text)


def _on_marks(labels: Sequence[Label], marks: Sequence[DrawnMark]) -> Iterator[PictureFault]:
    places = [(mark, at) for mark in marks for at in peaks_of(mark)]
    for label in labels:
        hidden = {mark.name or mark.role: at for mark, at in places if _covers(label, at)}
        for name, (x, y) in hidden.items():
            place = f"{number(x, 4)}, {number(y, 4)} px"
            yield PictureFault("labels on marks", f"{label.text!r} lies on {name!r} at {place}")


def _covers(label: Label, at: Point) -> bool:
    return label.left < at[0] < label.right and label.top < at[1] < label.bottom


def peaks_of(mark: DrawnMark) -> list[Point]:
    """Where a mark must not be covered: the middle of a symbol, the peaks of a line."""
    if mark.role == "symbol":
        return [mark.middle]
    if mark.role != "line" or len(mark.points) < 3:
        return []
    return line_peaks(mark.points)


def _cut(marks: Sequence[DrawnMark], size: Point) -> Iterator[PictureFault]:
    for mark in marks:
        left, top, right, bottom = mark.box
        least, most = min(left, top), max(right - size[0], bottom - size[1])
        if mark.role not in ("text", "sign") and (least < -EDGE_PX or most > EDGE_PX):
            yield PictureFault("cut", f"{mark.name or mark.role!r} runs out of the picture")


def _faint(marks: Sequence[DrawnMark]) -> Iterator[PictureFault]:
    for mark in marks:
        if mark.role in ("grid", "ground"):
            continue
        best = max(contrast(c, mark.ground) for c in (mark.fill, mark.stroke) if c)
        least = LEAST_OF_TEXT if mark.role == "text" else LEAST_OF_MARKS
        if best < least:
            kind = "faint text" if mark.role == "text" else "faint marks"
            yield PictureFault(kind, f"{mark.name or mark.role!r} stands out {number(best, 2)} : 1")


def _alike(marks: Sequence[DrawnMark]) -> Iterator[PictureFault]:
    """Curves of different series that differ in neither colour nor dashes nor width."""
    first: dict[tuple[str, str, float], str] = {}
    for mark in marks:
        if mark.role != "line" or not mark.whose or 2 * mark.reach < HAIRLINE_PX:
            continue
        known = first.setdefault((mark.stroke, mark.dash, mark.reach), mark.whose)
        if known != mark.whose:
            text = f"{known!r} and {mark.whose!r} are drawn alike"
            yield PictureFault("drawn alike", text)
