"""What charts of curves share: lines by unit and output, the peers' band, names at the ends."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis
from backbench.charts.chart_text import shortened, unit_name
from backbench.charts.constant_encodings import no_tooltip, x2_at, x_at, y2_at, y_at
from backbench.charts.drawing import PAGE, ChartInput
from backbench.charts.label_placement import spread
from backbench.charts.mark_layers import (
    GROUP,
    SAYS,
    Row,
    colour_of,
    dash_of,
    half_width,
    name_labels,
)
from backbench.charts.names_beneath import Named, beneath, named_line
from backbench.charts.page_layout import PlotArea, layer, narrow, text_mark
from backbench.quantities.counts import counted
from backbench.quantities.writing import measured, quantity

Lines = dict[tuple[str, str], list[Row]]
DASHES = ((1, 0), (7, 3), (2, 2), (9, 3, 2, 3), (14, 4), (4, 6), (9, 3, 2, 3, 2, 3), (1, 4))
MOST_LINES = 12
"""So many peers can be followed one by one under a unit's own curve."""
SHADES = (theme.INK, theme.LINE_GREY, theme.DARK_GREY, theme.BROWN)


def lines_of(rows: Sequence[Row], x_column: str, subject: str, *, of_subject: bool) -> Lines:
    """Rows by unit and output, in order of a column; either the subject's or its peers'."""
    lines: Lines = {}
    for row in sorted(rows, key=lambda r: (r["unit_key"], r["output"] or "", r[x_column])):
        if (row["unit_key"] == subject and bool(subject)) == of_subject:
            lines.setdefault((row["unit_key"], row["output"] or ""), []).append(row)
    return lines


def drawn_band(rows: Sequence[Mapping[str, float]], x_axis: Axis, y_axis: Axis) -> list[alt.Chart]:
    """The peers: their whole range pale, their middle half darker, their median a thin line."""
    if not rows:
        return []
    names = ("least", "q1", "middle", "q3", "greatest")
    clamped = [{"x": r["x"]} | {name: y_axis.clamped(r[name]) for name in names} for r in rows]
    base = layer(clamped).encode(x=x_axis.x("x"), tooltip=no_tooltip())
    style: dict[str, Any] = {"color": theme.INK, "opacity": 1, **theme.BAND_EDGE}
    return [
        base.mark_area(**style, fillOpacity=0.06).encode(
            y=y_axis.y("least"), y2=alt.Y2("greatest:Q")
        ),
        base.mark_area(**style, fillOpacity=0.1).encode(y=y_axis.y("q1"), y2=alt.Y2("q3:Q")),
        base.mark_line(strokeWidth=1.3, color=theme.SOFT_INK).encode(y=y_axis.y("middle")),
    ]


MOST_SAID = 800
"""Points of peers up to which each says its value: beyond, a line says whose it is."""


def thin_lines(
    lines: Lines, x_axis: Axis, y_axis: Axis, x: str, y: str, *, says: bool = True
) -> list[alt.Chart]:
    """Every peer as a hairline in its technology's colour.

    says: whether x and y are values in the units of the axes, which the lines may say.
    """
    rows = [
        row | {"_line": "\u2002".join(key), "technology": row["technology"] or "not stated"}
        for key, line in lines.items()
        for row in line
        if y_axis.low <= row[y] <= y_axis.high
    ]
    if not rows:
        return []
    if says and len(rows) <= MOST_SAID:
        rows = [
            row | {SAYS: reading_text(row, x=x, y=y, x_axis=x_axis, y_axis=y_axis)} for row in rows
        ]
    mark = layer(rows).mark_line(strokeWidth=0.8)
    tips = [alt.Tooltip("label:N", title="unit"), alt.Tooltip("technology:N")]
    return [
        mark.encode(
            x=x_axis.x(x),
            y=y_axis.y(y),
            detail=alt.Detail("_line:N"),
            color=colour_of(),
            strokeDash=dash_of(),
            tooltip=tips,
        )
    ]


def subject_lines(
    lines: Lines,
    x_axis: Axis,
    y_axis: Axis,
    x: str,
    y: str,
    low: str | None = None,
    high: str | None = None,
    weight: float = 2.8,
    shaded: bool = False,
) -> list[alt.Chart]:
    """The unit's own curves over their uncertainty, outputs by dashes or by shades."""
    drawn: list[alt.Chart] = []
    for k, line in reversed(list(enumerate(lines.values()))):
        if low and high:
            sure = [
                r | {"_low": y_axis.clamped(r[low]), "_high": y_axis.clamped(r[high])}
                for r in line
                if r[low] is not None and r[high] is not None and r.get("_run", 0) is not None
            ]
            if sure:
                band = layer(sure).mark_area(
                    color=theme.INK, opacity=1, fillOpacity=0.22, clip=True, **theme.BAND_EDGE
                )
                drawn.append(
                    band.encode(
                        x=x_axis.x(x),
                        y=y_axis.y("_low"),
                        y2=alt.Y2("_high:Q"),
                        tooltip=no_tooltip(),
                        **_pieces(sure),
                    )
                )
        said = [
            r
            | {
                SAYS: reading_text(r, x=x, y=y, x_axis=x_axis, y_axis=y_axis, low=low, high=high),
                GROUP: "",
            }
            for r in line
            if r.get("_run", 0) is not None
        ]
        if not said:
            continue
        mark = layer(said).mark_line(strokeWidth=weight, clip=True, **_output_style(k, shaded))
        encoded = {"x": x_axis.x(x), "y": y_axis.y(y), "tooltip": no_tooltip(), **_pieces(said)}
        drawn.append(mark.encode(**encoded))
    return drawn


def _pieces(rows: Sequence[Row]) -> dict[str, Any]:
    """A line for each run of values, where rows say which they belong to."""
    several = len({row.get("_run") for row in rows}) > 1
    return {"detail": alt.Detail("_run:N")} if several else {}


def reading_text(
    row: Row, x: str, y: str, x_axis: Axis, y_axis: Axis, low: str | None = None,
    high: str | None = None,
) -> str:  # fmt: skip
    """What a curve says at a point: "0.12 % ± 0.02 % at 5 W"."""
    u = half_width(row, y, low, high) if low and high else None
    text = measured(row[y], u, y_axis.unit, row.get("bound"))
    return f"{text} at {quantity(row[x], x_axis.unit)}"


def end_names(
    lines: Lines,
    x_axis: Axis,
    y_axis: Axis,
    area: PlotArea,
    y: str,
    tail: Callable[[Row], str] | None = None,
    shaded: bool = False,
) -> list[alt.Chart]:
    """The outputs' names beside the right ends of the unit's curves, each with its dashes."""
    ends = [(key, line[-1]) for key, line in lines.items()]
    if not ends:
        return []
    left = area.width + 20
    wanted = [y_axis.px(y_axis.clamped(end[y])) for _, end in ends]
    placed = spread(wanted, 20.0, 30.0, area.height - 4)
    label = unit_name(ends[0][1]["label"], area.right - 34, theme.TEXT_PX + 1, bold=True)
    rows: list[Row] = [{"to_x": left, "to_y": min(placed) - 22, "text": label, "bold": True}]
    samples = []
    for k, (((_, output), end), at, py) in enumerate(zip(ends, wanted, placed, strict=True)):
        text = (output or "measured") + (tail(end) if tail else "")
        rows.append(
            {
                "from_x": x_axis.px(x_axis.clamped(end["_end"])) + 4,
                "from_y": at,
                "lead_x": left - 4,
                "to_x": left + 36,
                "to_y": py,
                "text": shortened(text, area.right - 70, theme.TEXT_PX),
            }
        )
        samples.append(_sample(left, py, strokeWidth=2.8, **_output_style(k, shaded)))
    return [*name_labels(rows, x_axis, y_axis), *samples]


def technology_key(lines: Lines, area: PlotArea, low: float) -> list[alt.Chart]:
    """Technologies of the hairlines, each with a piece of its line, ending at pixel `low`."""
    units = _units_by_technology(lines)
    left = area.width + 20
    drawn = []
    for k, (group, count) in enumerate(units.items()):
        y = low - 20.0 * (len(units) - 1 - k)
        look = theme.look(group)
        drawn.append(_sample(left, y, strokeWidth=1.4, color=look.colour, strokeDash=look.dash))
        text = f"{group}, {count}"
        drawn.append(text_mark(text, left + 36, y + 5, theme.SMALL_PX, colour=theme.SOFT_INK))
    return drawn


def named_curves(
    own: Lines,
    peers: Lines,
    x_axis: Axis,
    y_axis: Axis,
    area: PlotArea,
    y: str,
    tail: Callable[[Row], str] | None = None,
    notes: Sequence[str] = (),
    shaded: bool = False,
) -> tuple[PlotArea, list[alt.Chart]]:
    """The unit's curves and its peers' technologies by name, with notes on what else is drawn.

    At the right of the plot, or beneath it on a phone; the area with room for them.
    """
    if area.narrow:
        named = [*_own_names(own, tail, shaded=shaded), *_technology_names(peers)]
        return beneath(area, [*named, *(Named(note) for note in notes)])
    drawn = [
        *end_names(
            lines=own, x_axis=x_axis, y_axis=y_axis, area=area, y=y, tail=tail, shaded=shaded
        ),
        *technology_key(peers, area, area.height - 8),
    ]
    if any(notes):
        text = "; ".join(notes)
        drawn.append(text_mark(text, area.width, -14, 13, colour=theme.SOFT_INK, align="right"))
    return area, drawn


def notes_where_room(
    chart_input: ChartInput, notes: Sequence[str]
) -> tuple[ChartInput, Sequence[str]]:
    """The notes for `named_curves`; among the words of the heading where a picture that has the
    names beside its plot leaves them no room above it."""
    if narrow(chart_input) or chart_input.size.width >= PAGE.width:
        return chart_input, notes
    return replace(chart_input, labels=chart_input.labels.noted("; ".join(notes))), ()


def _own_names(own: Lines, tail: Callable[[Row], str] | None, *, shaded: bool) -> Iterator[Named]:
    for k, ((_, output), run) in enumerate(own.items()):
        if k == 0:
            yield Named(run[-1]["label"], bold=True)
        text = (output or "measured") + (tail(run[-1]) if tail else "")
        yield named_line(text, **_output_style(k, shaded))


def _technology_names(peers: Lines) -> Iterator[Named]:
    for group, units in _units_by_technology(peers).items():
        look = theme.look(group)
        yield named_line(
            f"{group}, {units}", strokeWidth=1.4, color=look.colour, strokeDash=look.dash
        )


def _units_by_technology(lines: Lines) -> dict[str, int]:
    units: dict[str, set[str]] = {}
    for (unit, _), run in lines.items():
        units.setdefault(run[0]["technology"] or "not stated", set()).add(unit)
    return {group: len(units[group]) for group in theme.in_order(units)}


def _output_style(k: int, shaded: bool) -> dict[str, Any]:
    if shaded:
        return {"color": SHADES[k % len(SHADES)]}
    return {"color": theme.INK, "strokeDash": list(DASHES[k % len(DASHES)])}


def _sample(left: float, y: float, **style: Any) -> alt.Chart:
    """A short piece of line beside a name."""
    ends = {"x": x_at(left), "x2": x2_at(left + 29)}
    mark = layer([{}]).mark_rule(**style)
    drawn: alt.Chart = mark.encode(**ends, y=y_at(y), y2=y2_at(y), tooltip=no_tooltip())
    return drawn


def ends_of_units(
    rows: Sequence[Row], y: str, of_unit: Callable[[list[Row]], Row], text: Callable[[Row], str]
) -> str:
    """The units whose one row, taken from all of theirs, is least and greatest in a column."""
    units: dict[str, list[Row]] = {}
    for row in rows:
        units.setdefault(row["unit_key"], []).append(row)
    taken = sorted((of_unit(own) for own in units.values()), key=lambda row: float(row[y]))
    ends = [f"{text(row)} ({row['label']})" for row in (taken[:1] + taken[1:][-1:])]
    return f"{counted(len(units), 'unit')}: {' to '.join(ends)}"


def lines_beside_band(peers: Lines, own: Lines, *, banded: bool) -> Lines:
    """The peers that are drawn one by one: all, unless a band tells of the many about a unit."""
    return {} if banded and own and len(peers) > MOST_LINES else peers


def band_notes(peers: Lines, *, banded: bool) -> list[str]:
    """How many peers there are, and what their band is, in words."""
    units = _units_by_technology(peers)
    if not units:
        return []
    text = counted(sum(units.values()), "peer")
    if banded:
        kinds = ", ".join(units) if len(units) > 1 else ""
        text += f" ({kinds})" * bool(kinds) + ": range, quartiles and median"
    return [text]
