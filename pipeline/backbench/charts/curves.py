"""What charts of curves share: lines by unit and output, the peers' band, names at the ends."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.canvas import Field, layer, words
from backbench.charts.marks import Row, colour_of, named
from backbench.charts.placing import spread
from backbench.charts.ruler import Ruler
from backbench.charts.wording import shortened

Lines = dict[tuple[str, str], list[Row]]
OUTPUT_DASHES = ((1, 0), (7, 3), (2, 2), (9, 3, 2, 3))


def lines_of(rows: Sequence[Row], along: str, subject: str, *, of_subject: bool) -> Lines:
    """Rows by unit and output, in order of `along`; either the subject's or its peers'."""
    found: Lines = {}
    for row in sorted(rows, key=lambda r: (r["unit_key"], r["output"] or "", r[along])):
        if (row["unit_key"] == subject and bool(subject)) == of_subject:
            found.setdefault((row["unit_key"], row["output"] or ""), []).append(row)
    return found


def drawn_band(
    rows: Sequence[Mapping[str, float]], along: Ruler, up: Ruler
) -> list[alt.Chart]:
    """The peers: their whole range pale, their middle half darker, their median a thin line."""
    if not rows:
        return []
    names = ("least", "q1", "middle", "q3", "greatest")
    held = [{"x": r["x"]} | {name: up.held(r[name]) for name in names} for r in rows]
    base = layer(held).encode(x=along.x("x"), tooltip=alt.value(None))
    style = {"color": theme.INK, "line": False}
    return [
        base.mark_area(**style, opacity=0.06).encode(y=up.y("least"), y2="greatest:Q"),
        base.mark_area(**style, opacity=0.1).encode(y=up.y("q1"), y2="q3:Q"),
        base.mark_line(strokeWidth=1.3, color=theme.SOFT_INK).encode(y=up.y("middle")),
    ]


def thin_lines(lines: Lines, along: Ruler, up: Ruler, x: str, y: str) -> list[alt.Chart]:
    """Every peer as a hairline in its technology's colour."""
    rows = [
        row | {"_line": "\u2002".join(key), "technology": row["technology"] or "not stated"}
        for key, line in lines.items()
        for row in line
    ]
    if not rows:
        return []
    mark = layer(rows).mark_line(strokeWidth=0.7, opacity=0.45, clip=True)
    tips = [alt.Tooltip("label:N", title="unit"), alt.Tooltip("technology:N")]
    return [
        mark.encode(
            x=along.x(x), y=up.y(y), detail="_line:N", color=colour_of(), tooltip=tips
        )
    ]


def subject_lines(
    lines: Lines, along: Ruler, up: Ruler, x: str, y: str, low: str | None, high: str | None
) -> list[alt.Chart]:
    """The unit's own curves in ink, one dash pattern an output, over their uncertainty."""
    drawn: list[alt.Chart] = []
    for k, line in enumerate(lines.values()):
        if low and high:
            sure = [
                r | {"_low": up.held(r[low]), "_high": up.held(r[high])}
                for r in line
                if r[low] is not None and r[high] is not None
            ]
            if sure:
                band = layer(sure).mark_area(color=theme.INK, opacity=0.22, clip=True)
                drawn.append(
                    band.encode(
                        x=along.x(x), y=up.y("_low"), y2="_high:Q", tooltip=alt.value(None)
                    )
                )
        mark = layer(line).mark_line(
            strokeWidth=2.8, color=theme.INK, clip=True,
            strokeDash=list(OUTPUT_DASHES[k % len(OUTPUT_DASHES)]),
        )
        drawn.append(mark.encode(x=along.x(x), y=up.y(y), tooltip=alt.value(None)))
    return drawn


def end_names(
    lines: Lines, along: Ruler, up: Ruler, area: Field, y: str,
    tail: Callable[[Row], str] | None = None,
) -> list[alt.Chart]:
    """The outputs' names at the right ends of the unit's curves, the unit's own name above."""
    ends = [(key, line[-1]) for key, line in lines.items()]
    if not ends:
        return []
    room = area.right - 34
    wanted = [up.px(up.held(end[y])) for _, end in ends]
    placed = spread(wanted, 20.0, 30.0, area.height - 4)
    rows: list[Row] = []
    for ((_, output), end), at, py in zip(ends, wanted, placed, strict=True):
        text = (output or end["label"]) + (tail(end) if tail else "")
        rows.append(
            {
                "from_x": along.px(along.held(end["_end"])) + 4, "from_y": at,
                "to_x": area.width + 20, "to_y": py,
                "text": shortened(text, room, theme.TEXT_PX),
            }
        )
    top = min(placed) - 21
    label = shortened(ends[0][1]["label"], room, theme.TEXT_PX + 1)
    heading = {"to_x": area.width + 20, "to_y": top, "text": label, "bold": True}
    return named([*rows, heading] if ends[0][0][1] else rows, along, up)


def band_note(area: Field, units: int, *, lines: bool) -> list[alt.Chart]:
    """What the band is, in words under the heading at the right."""
    if not units:
        return []
    peers = "peer" if units == 1 else "peers"
    text = f"{units} {peers}: range, middle half, median" if not lines else f"{units} {peers}"
    return [words(text, area.width, -14, 13, colour=theme.SOFT_INK, align="right")]
