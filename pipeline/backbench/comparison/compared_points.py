"""Where units are compared: the test points of each metric, and those of one unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

from backbench.documents.input_sorts import LINE
from backbench.metrics.declared_metric import Declared
from backbench.metrics.declared_traits import Declarations, declarations
from backbench.test_points.points import ALONE, OTHER_PATHS, alone, at_input, shipped_point

WAYS = ((LINE, False), (LINE, True), *((sort, False) for sort, _ in OTHER_PATHS))
"""Sorts of path, and whether one output alone was driven: what is shown side by side."""


def _way(point_key: str) -> tuple[str | None, bool]:
    point = shipped_point(point_key)
    return point.input_sort, point.driven == "one"


def compared_points() -> dict[str, tuple[str, ...]]:
    """Metrics that units are compared in, in the order shown, each with its test points in order
    of preference: those at a line input, then those at the others."""
    return _compared_points(declarations())


@lru_cache(maxsize=2)
def _compared_points(declared: Declarations[Declared]) -> dict[str, tuple[str, ...]]:
    return {
        metric: (
            *points, *(alone(point) for point in points if point in ALONE),
            *(at_input(sort, point) for sort, own in OTHER_PATHS for point in points
              if point in own),
        )
        for metric, points in declared.compared().items()
    }  # fmt: skip


def preferred(own: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """The unit's rows at the first test point of each metric that it has, of each sort of path
    and with one output driven beside all, and at every load that stands for headphones, in the
    order shown."""
    preferred: list[Mapping[str, Any]] = []
    for metric, points in compared_points().items():
        mine = [row for row in own if row["metric"] == metric]
        for sort, driven in WAYS:
            of_sort = (p for p in points if _way(p) == (sort, driven))
            point = next((p for p in of_sort if any(r["point_key"] == p for r in mine)), None)
            preferred += [row for row in mine if row["point_key"] == point]
        into_headphones = [p for p in points if shipped_point(p).input_sort is None]
        preferred += [row for row in mine if row["point_key"] in into_headphones]
    return preferred
