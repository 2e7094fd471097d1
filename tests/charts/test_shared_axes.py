"""Pictures beside each other have the same limits on each axis, wide enough for all of them."""

from __future__ import annotations

from functools import partial
from typing import Any

import altair as alt
import polars as pl

from backbench.charts.axis import axis
from backbench.charts.drawing import PHONE, Labels
from backbench.charts.registry import chart_named
from backbench.charts.shared_axes import drawn_alike
from backbench.charts.unchecked import specification

Limits = dict[str, set[tuple[float, ...]]]


def _limits(chart: alt.TopLevelMixin) -> Limits:
    """Every domain of each direction of a picture."""
    found: Limits = {"x": set(), "y": set()}

    def look(part: Any) -> None:
        if isinstance(part, list):
            for one in part:
                look(one)
        elif isinstance(part, dict):
            for name in found:
                scale = (part.get("encoding", {}).get(name) or {}).get("scale") or {}
                if "domain" in scale:
                    found[name].add(tuple(scale["domain"]))
            for key, one in part.items():
                if key not in ("data", "datasets"):
                    look(one)

    look(specification(chart))
    return found


def test_two_halves_share_their_limits(frames: dict[str, pl.DataFrame]) -> None:
    frame = frames["distortion-power"].filter(unit_key="u0")
    tenfold = frame.with_columns(
        pl.col("thd_percent", "thd_low", "thd_high") * 10, power_w=pl.col("power_w") / 4
    )
    drawings = [
        partial(chart_named("distortion-power").draw, some, Labels(), "u0", PHONE)
        for some in (frame, tenfold)
    ]
    apart = [_limits(draw()) for draw in drawings]
    alike = [_limits(chart) for chart in drawn_alike(drawings)]
    assert apart[0] != apart[1]
    assert alike[0] == alike[1]
    for name in ("x", "y"):
        ends = [end for limits in apart for domain in limits[name] for end in domain]
        (shared,) = alike[0][name]
        assert shared[0] <= min(ends)
        assert shared[1] >= max(ends)


def test_axes_are_matched_by_quantity_and_left_alone_where_they_cannot_be() -> None:
    def draw(*values: tuple[str, float]) -> list[tuple[float, float]]:
        made = [axis([0.0, value], 0.0, 100.0, unit) for unit, value in values]
        return [(one.low, one.high) for one in made]

    first, second = drawn_alike(
        [lambda: draw(("V", 1.0), ("W", 5.0)), lambda: draw(("W", 9.0), ("V", 4.0))]
    )
    assert first == [second[1], second[0]]
    first, second = drawn_alike(
        [lambda: draw(("V", 1.0), ("W", 5.0), ("W", 7.0)), lambda: draw(("W", 9.0), ("V", 4.0))]
    )
    assert first[0] == second[1]
    assert first[1:] == draw(("W", 5.0), ("W", 7.0))


def test_a_picture_alone_keeps_its_axes() -> None:
    assert drawn_alike([lambda: axis([1.0, 2.0], 0.0, 100.0)]) == (axis([1.0, 2.0], 0.0, 100.0),)
