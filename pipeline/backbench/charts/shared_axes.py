"""Pictures that stand beside each other, on axes of the same limits.

A chart works its axes out from its own rows while it is drawn. Pictures that are to share them are
drawn twice: once to see what each axis holds, and again on axes that hold what all of them do.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import TypeVar

Drawn = TypeVar("Drawn")

AxisKind = tuple[str, ...]
"""What tells an axis from others of a picture: unit, course, direction, quantity."""
Reaches = Mapping[tuple[AxisKind, int], tuple[float, float]]
"""Least and greatest value of each axis: of its kind the first, the second and on."""


@dataclass
class _Drawing:
    """One picture that is being drawn: what its axes held so far, and what they must hold."""

    shared: Reaches
    held: dict[tuple[AxisKind, int], tuple[float, float]] = field(default_factory=dict)
    met: Counter[AxisKind] = field(default_factory=Counter)


_drawing: ContextVar[_Drawing | None] = ContextVar("axes of the picture being drawn", default=None)


def with_shared(kind: AxisKind, values: list[float]) -> list[float]:
    """The values of an axis, with the ends of the same axis of the pictures beside this one."""
    drawing = _drawing.get()
    if drawing is None or not values:
        return values
    place = (kind, drawing.met[kind])
    drawing.met[kind] += 1
    drawing.held[place] = (min(values), max(values))
    return [*values, *drawing.shared.get(place, ())]


def drawn_alike(draws: Sequence[Callable[[], Drawn]]) -> tuple[Drawn, ...]:
    """What each gives, on axes that hold what the like axes of all of them hold.

    Axes of a kind that the pictures have in different numbers can't be told to be the same: they
    keep their own limits.
    """
    if len(draws) < 2:
        return tuple(draw() for draw in draws)
    seen = []
    for draw in draws:
        with _being_drawn({}) as drawing:
            draw()
        seen.append(drawing)
    shared = _of_all(seen)
    drawn = []
    for draw in draws:
        with _being_drawn(shared):
            drawn.append(draw())
    return tuple(drawn)


def _of_all(seen: Sequence[_Drawing]) -> Reaches:
    first = seen[0]
    alike = {kind for kind in first.met if len({one.met[kind] for one in seen}) == 1}
    return {
        place: (min(one.held[place][0] for one in seen), max(one.held[place][1] for one in seen))
        for place in first.held
        if place[0] in alike
    }


@contextmanager
def _being_drawn(shared: Reaches) -> Iterator[_Drawing]:
    drawing = _Drawing(shared)
    token = _drawing.set(drawing)
    try:
        yield drawing
    finally:
        _drawing.reset(token)
