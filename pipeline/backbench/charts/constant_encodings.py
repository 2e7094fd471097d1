"""Encodings that are fixed instead of coming from the rows. Altair leaves these calls untyped.

Encodings of rows are written as channels (alt.X2("x2:Q")): for a string alone Altair looks
through its whole schema at every call.
"""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt


def no_tooltip() -> alt.TooltipValue:
    """No tooltip: the mark says nothing of its own."""
    return alt.TooltipValue(None)


def x_at(px: float) -> alt.XValue:
    """At this pixel from the left."""
    return alt.XValue(px)  # type: ignore[no-untyped-call]


def y_at(px: float) -> alt.YValue:
    """At this pixel from the top."""
    return alt.YValue(px)  # type: ignore[no-untyped-call]


def x2_at(px: float) -> alt.X2Value:
    """Ending at this pixel from the left."""
    return alt.X2Value(px)  # type: ignore[no-untyped-call]


def y2_at(px: float) -> alt.Y2Value:
    """Ending at this pixel from the top."""
    return alt.Y2Value(px)  # type: ignore[no-untyped-call]


def coloured(colour: str) -> alt.ColorValue:
    """In this colour."""
    return alt.ColorValue(colour)


def dashed(dash: Sequence[float]) -> alt.StrokeDashValue:
    """With these dashes."""
    return alt.StrokeDashValue(list(dash))
