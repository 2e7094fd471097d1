"""Marks that charts share: dots, uncertainty bars, bounds, names with leaders."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis
from backbench.charts.constant_encodings import coloured, no_tooltip
from backbench.charts.page_layout import layer, text_mark
from backbench.quantities.writing import COVERAGE, measured, value_alone

Row = dict[str, Any]
UNSTATED = "not stated"
SAYS = "says"
"""Column of a line's rows: what the line's value is there."""
SAYER = "sayer"
"""Column of a line's rows: whose curve it is."""
GROUP = "group"
"""Column of rows: what they are shown and hidden with. Their technology where there is no such
column, nothing where it is empty."""
MIDDLE = 0.3
"""How far the baseline lies below the middle of small letters, in sizes of the face."""
VALUE_TOOLTIP = [
    alt.Tooltip("label:N", title="unit"),
    alt.Tooltip("technology:N", title="technology"),
    alt.Tooltip("value_text:N", title="value"),
]


def pixel_y_axis(height: float) -> Axis:
    """A vertical axis whose values are pixels from the top."""
    return Axis(low=height, high=0.0, start=height, end=0.0, log=False, ticks=(), unit="")


def pixel_x_axis(width: float) -> Axis:
    """A horizontal axis whose values are pixels from the left."""
    return Axis(low=0.0, high=width, start=0.0, end=width, log=False, ticks=(), unit="")


def colour_of(name: str = "technology") -> alt.Color:
    """Technology by colour."""
    return alt.Color(f"{name}:N", scale=_by_technology("colour"), legend=None)


def shape_of(name: str = "technology") -> alt.Shape:
    """Technology by shape."""
    return alt.Shape(f"{name}:N", scale=_by_technology("shape"), legend=None)


def dash_of(name: str = "technology") -> alt.StrokeDash:
    """Technology by a line's dashes."""
    return alt.StrokeDash(f"{name}:N", scale=_by_technology("dash"), legend=None)


def value_text(row: Mapping[str, Any], value: str, low: str, high: str, unit: str) -> str:
    """A value with its uncertainty, as everywhere; a bound is called one."""
    text = measured(row[value], half_width(row, value, low, high), unit, row.get("bound"))
    return text + (" typed from a record" if row.get("status") == "entered" else "")


def half_width(row: Mapping[str, Any], value: str, low: str, high: str) -> float | None:
    """The standard uncertainty of an interval of COVERAGE times it; None where there is none."""
    reach = [abs(row[end] - row[value]) for end in (low, high) if row.get(end) is not None]
    return max(reach) / COVERAGE if reach else None


def value_label(row: Mapping[str, Any], unit: str) -> str:
    """A value beside its mark: the digits of `value_text` without the uncertainty drawn."""
    u = half_width(row, "value", "low", "high")
    return "\u2002" + value_alone(row["value"], u, unit, row.get("bound"))


def dots(rows: Sequence[Row], x: alt.X, y: alt.Y, area: float = theme.PEER_AREA) -> list[alt.Chart]:
    """Peers in their technology's colour and shape; bounds as open marks."""
    open_rows = [r for r in rows if r.get("bound")]
    full_rows = [r for r in rows if not r.get("bound")]
    drawn = []
    if full_rows:
        full = layer(full_rows).mark_point(filled=True, size=area, opacity=1)
        full = full.encode(x=x, y=y, color=colour_of(), shape=shape_of(), tooltip=VALUE_TOOLTIP)
        drawn.append(full)
    if open_rows:
        hollow = layer(open_rows).mark_point(
            filled=False, fill=theme.PAPER, opacity=1, size=area, strokeWidth=1.4
        )
        drawn.append(
            hollow.encode(x=x, y=y, stroke=_stroke(), shape=shape_of(), tooltip=VALUE_TOOLTIP)
        )
    return drawn


def subject_marks(
    rows: Sequence[Row], x: alt.X, y: alt.Y, size: float = theme.SUBJECT_AREA
) -> list[alt.Chart]:
    """The unit in question: ink, large, with a paper edge; open where it is a bound."""
    drawn = []
    for bound in (False, True):
        some = [r | {GROUP: ""} for r in rows if bool(r.get("bound")) == bound]
        if not some:
            continue
        mark = layer(some).mark_point(
            filled=True,
            size=size,
            opacity=1,
            fill=theme.PAPER if bound else theme.INK,
            stroke=theme.INK if bound else theme.PAPER,
            strokeWidth=2.4 if bound else 1.6,
        )
        drawn.append(mark.encode(x=x, y=y, shape=shape_of(), tooltip=VALUE_TOOLTIP))
    return drawn


def horizontal_error_bars(
    rows: Sequence[Row], x_axis: Axis, y: alt.Y, low: str, high: str, *, weight: float = 1.1
) -> list[alt.Chart]:
    """Horizontal uncertainty bars; what runs off the axis is cut at its edge."""
    place = _field(y)
    seen = [
        {"_low": x_axis.clamped(r[low]), "_high": x_axis.clamped(r[high])}
        | {name: r[name] for name in (place, "technology") if name in r}
        for r in rows
        if r.get(low) is not None and r.get(high) is not None
    ]
    if not seen:
        return []
    rule = layer(seen).mark_rule(strokeWidth=weight)
    x = x_axis.x("_low")
    return [rule.encode(x=x, x2=alt.X2("_high:Q"), y=y, color=_ink_for(rows))]


def vertical_error_bars(
    rows: Sequence[Row], y_axis: Axis, x: alt.X, low: str, high: str, *, weight: float = 1.1
) -> list[alt.Chart]:
    """Vertical uncertainty bars; what runs off the axis is cut at its edge."""
    place = _field(x)
    seen = [
        {"_low": y_axis.clamped(r[low]), "_high": y_axis.clamped(r[high])}
        | {name: r[name] for name in (place, "technology") if name in r}
        for r in rows
        if r.get(low) is not None and r.get(high) is not None
    ]
    if not seen:
        return []
    rule = layer(seen).mark_rule(strokeWidth=weight)
    y = y_axis.y("_low")
    return [rule.encode(y=y, y2=alt.Y2("_high:Q"), x=x, color=_ink_for(rows))]


def _field(place: alt.X | alt.Y) -> str:
    """The column that a position is taken from."""
    return str(place["shorthand"]).partition(":")[0]


def mark_columns(row: Mapping[str, Any], *more: str) -> Row:
    """Only what marks need of a row: a picture of thousands of units stays small."""
    return {name: row[name] for name in ("unit_key", "label", "bound", *more) if name in row}


def name_labels(rows: Sequence[Row], x: Axis, y: Axis) -> list[alt.Chart]:
    """Names with thin leaders.

    Rows in pixels: from_x, from_y (the mark; no leader without), to_x, to_y (left middle of the
    text), lead_x, lead_y (the leader's other end, otherwise the text); text, bold, colour, size.
    """
    if not rows:
        return []
    leads = [r for r in rows if "from_x" in r]
    drawn = [_leaders(leads, x, y)] if leads else []
    return drawn + [_text(row) for row in rows]


def _leaders(rows: Sequence[Row], x: Axis, y: Axis) -> alt.Chart:
    placed = [
        {
            "_x": x.at(r["from_x"]),
            "_y": y.at(r["from_y"]),
            "_x2": x.at(r["lead_x"] if "lead_x" in r else r["to_x"] - 4),
            "_y2": y.at(r["lead_y"] if "lead_y" in r else r["to_y"]),
        }
        for r in rows
    ]
    rule = layer(placed).mark_rule(strokeWidth=0.8, color=theme.SOFT_INK, strokeOpacity=0.7)
    drawn: alt.Chart = rule.encode(
        x=x.x("_x"), y=y.y("_y"), x2=alt.X2("_x2:Q"), y2=alt.Y2("_y2:Q"), tooltip=no_tooltip()
    )
    return drawn


def _text(row: Row) -> alt.Chart:
    """The text of a name with a paper halo, so that it reads across lines."""
    bold = bool(row.get("bold"))
    size = row.get("size", theme.TEXT_PX + bold)
    return text_mark(
        row["text"], row["to_x"], row["to_y"] + MIDDLE * size, size, bold=bold,
        colour=row.get("colour", theme.INK), halo=True,
    )  # fmt: skip


def bound_arrows(rows: Sequence[Row], x: alt.X, y: alt.Y, *, upright: bool) -> list[alt.Chart]:
    """A small arrow at each bound, towards where the true value lies."""
    drawn = []
    for bound, glyph, shift in (
        ("upper", "↓" if upright else "←", -1),
        ("lower", "↑" if upright else "→", 1),
    ):
        some = [r for r in rows if r.get("bound") == bound]
        if not some:
            continue
        dx, dy = (0, -11 * shift) if upright else (11 * shift, 0)
        mark = layer(some).mark_text(text=glyph, dx=dx, dy=dy, fontSize=12, baseline="middle")
        drawn.append(mark.encode(x=x, y=y, color=_ink_for(some)))
    return drawn


def _ink_for(rows: Sequence[Row]) -> Any:
    if rows and all("technology" not in r or r.get("_strong") for r in rows):
        return coloured(theme.INK)
    return colour_of()


def _stroke() -> alt.Stroke:
    return alt.Stroke("technology:N", scale=_by_technology("colour"), legend=None)


def _by_technology(feature: str) -> alt.Scale:
    """The scale from technologies to one feature of their looks."""
    domain = [*theme.LOOKS, UNSTATED]
    return alt.Scale(domain=domain, range=[getattr(theme.look(t), feature) for t in domain])
