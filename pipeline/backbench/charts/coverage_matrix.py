"""What the catalogue lacks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.chart_text import shortened, text_width, unit_name
from backbench.charts.constant_encodings import no_tooltip, x_at, y_at
from backbench.charts.declaration import chart
from backbench.charts.drawing import ChartInput
from backbench.charts.mark_layers import Row
from backbench.charts.names_beneath import Named, beneath
from backbench.charts.page_layout import (
    PlotArea,
    assemble,
    edge,
    layer,
    message_chart,
    narrow,
    plot_area,
    text_mark,
)
from backbench.charts.small_multiples import pixel_encodings
from backbench.quantities.counts import counted

COLUMNS = ("review_key", "label", "family", "readings", "state")
MARKS = {
    "measured": ("square", theme.INK, theme.INK),
    "entered": ("circle", theme.PAPER, theme.INK),
    "partial": ("triangle-up", theme.GREY, theme.GREY),
    "refused": ("cross", theme.LOOKS["tube"].colour, theme.LOOKS["tube"].colour),
    "rejected": ("cross", theme.LOOKS["tube"].colour, theme.LOOKS["tube"].colour),
    "not applicable": ("stroke", theme.SOFT_INK, theme.SOFT_INK),
}
MISSING = ("", "absent", "missing", "not measured", "lacking")
NOT_APPLICABLE = "not applicable"
MOST_REVIEWS, NARROW_REVIEWS = 22, 10
NARROW_NAME_PX, NARROW_CELL_PX = 20.0, 24.0
EMPTY_NOTE = "empty: not measured; larger marks: more readings"


def _finding(chart_input: ChartInput) -> str:
    """How many have every test that applies to them, and what is most often missing."""
    rows = _rows(chart_input)
    lacking = _lacking(rows)
    whole = sum(not count for count in lacking.values())
    if whole == len(lacking):
        return f"No measurement is missing of {counted(whole, 'unit')} reviewed"
    gaps = Counter(str(r["family"]).replace("_", " ") for r in rows if _is_gap(r))
    family, most = max(gaps.items(), key=lambda gap: gap[1])
    text = f"{len(lacking) - whole} of {counted(len(lacking), 'unit')} reviewed lack a measurement"
    return f"{text}; most often missing: {family} ({most})"


@chart("coverage", COLUMNS, ("unit_key", "reviewed", "position"), finding=_finding)
def coverage(chart_input: ChartInput) -> alt.LayerChart:
    """The catalogue's gaps: reviews by families of metrics, an empty cell where nothing is."""
    rows = _rows(chart_input)
    families = list(dict.fromkeys(r["family"] for r in sorted(rows, key=_position)))
    lacking = _lacking(rows)
    most = NARROW_REVIEWS if narrow(chart_input) else MOST_REVIEWS
    shown = _most_lacking(lacking, chart_input.subject)[:most]
    if not families:
        return message_chart(chart_input, "There are no reviews yet.")
    area = _area(chart_input, len(shown))
    wide, high = area.width / len(families), area.height / len(shown)
    high = high if area.narrow else min(high, 34.0)
    labels = {r["_row"]: (r["label"] or r["review_key"], _year(r)) for r in rows}
    marked = {
        r["_row"] for r in rows if chart_input.subject in (r["review_key"], r.get("unit_key"))
    }
    lower = NARROW_NAME_PX if area.narrow else 0.0
    layers = _ground(len(families), len(shown), wide, high, area, lower)
    layers += _numbers(families, wide) if area.narrow else _family_names(families, wide)
    for k, key in enumerate(shown):
        strong = bool(chart_input.subject) and key in marked
        label, year = labels[key]
        room = area.width if area.narrow else area.left - 40
        room -= text_width(year, theme.SMALL_PX, bold=strong)
        text = unit_name(label, room, theme.SMALL_PX, bold=strong) + year
        if area.narrow:
            layers.append(text_mark(text, 0, high * k + 14, theme.SMALL_PX, bold=strong))
            continue
        layers.append(
            text_mark(
                text,
                -12,
                high * (k + 0.5) + 5,
                theme.SMALL_PX,
                align="right",
                bold=strong,
            )
        )
    layers += _cells(
        rows=rows, families=families, shown=shown, wide=wide, high=high, area=area, lower=lower
    )
    note = _coverage_note(lacking, len(shown))
    if not area.narrow:
        return assemble(chart_input, area, [*layers, *_key(rows, note, area)])
    area, names = beneath(area, _named(rows, families, note), 24)
    return assemble(chart_input, area, [*layers, *names])


def _area(chart_input: ChartInput, rows: int) -> PlotArea:
    """With names at the left of the rows, or above each on a phone."""
    if narrow(chart_input):
        side, tall = edge(chart_input), (NARROW_NAME_PX + NARROW_CELL_PX) * rows
        return plot_area(chart_input, left=side, right=side, bottom=20, above=30, tall=tall)
    return plot_area(chart_input, left=300, right=40, bottom=44, above=62)


def _numbers(families: Sequence[str], wide: float) -> list[alt.Chart]:
    """Numbers for column heads; what they stand for is beneath."""
    return [text_mark(str(k + 1), wide * (k + 0.5), -8, theme.SMALL_PX, align="center")
            for k in range(len(families))]  # fmt: skip


def _named(rows: Sequence[Row], families: Sequence[str], note: str) -> list[Named]:
    """The states of cells, the families by their numbers, and how much is drawn."""
    names = []
    for state in dict.fromkeys(r["state"] for r in rows if r["state"] not in MISSING):
        shape, fill, stroke = _look(state)
        look = {"shape": shape, "fill": fill, "stroke": stroke, "strokeWidth": 1.6}
        names.append(Named(state, "point", look))
    numbered = ", ".join(f"{k + 1} {family}".replace("_", " ") for k, family in enumerate(families))
    return [*names, Named(EMPTY_NOTE), Named(numbered), Named(note)]


def _rows(chart_input: ChartInput) -> list[Row]:
    return [
        r | {"state": (r["state"] or "").replace("_", " "), "_row": _row_key(r)}
        for r in chart_input.frame.to_dicts()
    ]


def _is_gap(row: Row) -> bool:
    return row["state"] != NOT_APPLICABLE and (row["state"] in MISSING or not row["readings"])


def _lacking(rows: Sequence[Row]) -> dict[tuple[str, str], int]:
    """The number of gaps of each row of the picture."""
    lacking: dict[tuple[str, str], int] = {}
    for row in rows:
        lacking[row["_row"]] = lacking.get(row["_row"], 0) + _is_gap(row)
    return lacking


def _most_lacking(lacking: Mapping[tuple[str, str], int], subject: str) -> list[tuple[str, str]]:
    """Rows by number of gaps, most first; those in question before all."""
    marked = {key for key in lacking if subject and subject in key}
    return sorted(lacking, key=lambda key: (key not in marked, -lacking[key], key))


def _coverage_note(lacking: Mapping[tuple[str, str], int], shown: int) -> str:
    """How many rows are drawn, and how many have gaps."""
    gaps = sum(count > 0 for count in lacking.values())
    note = f"{gaps} incomplete" if gaps else "all complete"
    drawn = f"{shown} of {len(lacking)}" + ", most missing first" * (gaps > 0)
    return f"{drawn}; {note}" if shown < len(lacking) else note


def _position(row: Row) -> int:
    """The place of a row's family among the others; as the rows come where none is given."""
    return int(row.get("position") or 0)


def _row_key(row: Row) -> tuple[str, str]:
    """A review, or one unit of it where the query says which."""
    return row["review_key"], row.get("unit_key") or ""


def _year(row: Row) -> str:
    """The review's year, where the query gives its day."""
    return f"\u2002{str(row['reviewed'])[:4]}" if row.get("reviewed") else ""


def _ground(
    columns: int, lines: int, wide: float, high: float, area: PlotArea, lower: float
) -> list[alt.Chart]:
    """A pale cell everywhere; what stays pale is a gap."""
    x, y, x2, y2 = pixel_encodings(area.width, area.height)
    cells = [
        {
            "px": wide * c + 1.5,
            "px2": wide * (c + 1) - 1.5,
            "py": high * k + lower + 1,
            "py2": high * (k + 1) - 1,
        }
        for c in range(columns)
        for k in range(lines)
    ]
    mark = layer(cells).mark_rect(color=theme.CELL)
    return [mark.encode(x=x, y=y, x2=x2, y2=y2, tooltip=no_tooltip())]


def _family_names(families: Sequence[str], wide: float) -> list[alt.Chart]:
    """Column heads, on two levels where one has not the room."""
    longest = max(text_width(f.replace("_", " "), theme.SMALL_PX) for f in families)
    levels = 1 if longest + 8 <= wide else 2 if longest + 8 <= 2 * wide else 3
    return [
        text_mark(
            shortened(family.replace("_", " "), levels * wide - 6, theme.SMALL_PX),
            wide * (k + 0.5),
            -10 - 17 * (k % levels),
            theme.SMALL_PX,
            align="center",
        )
        for k, family in enumerate(families)
    ]


def _cells(
    rows: Sequence[Row],
    families: Sequence[str],
    shown: Sequence[tuple[str, str]],
    wide: float,
    high: float,
    area: PlotArea,
    lower: float,
) -> list[alt.Chart]:
    x, y, _, _ = pixel_encodings(area.width, area.height)
    greatest = max([1, *(r["readings"] or 0 for r in rows)])
    drawn = []
    tips = [alt.Tooltip(f"{n}:N") for n in ("label", "family", "readings", "state")]
    for state in dict.fromkeys(r["state"] for r in rows):
        if state in MISSING:
            continue
        shape, fill, stroke = _look(state)
        some = [
            r
            | {
                "px": wide * (families.index(r["family"]) + 0.5),
                "py": high * list(shown).index(r["_row"]) + (high + lower) / 2,
                "_row": "",
                "_area": _mark_area(r["readings"], greatest, min(high - lower, wide)),
            }
            for r in rows
            if r["state"] == state and r["_row"] in shown
        ]
        if some:
            mark = layer(some).mark_point(
                filled=True, opacity=1, fill=fill, stroke=stroke, strokeWidth=1.6, shape=shape
            )
            size = alt.Size("_area:Q", scale=None)
            drawn.append(mark.encode(x=x, y=y, size=size, tooltip=tips))
    return drawn


def _look(state: str) -> tuple[str, str, str]:
    return MARKS.get(state, ("diamond", theme.GREY, theme.GREY))


def _mark_area(readings: int | None, greatest: int, room: float) -> float:
    """Larger for more readings, by the square root, so that few still show."""
    side = (room - 5) * (0.45 + 0.55 * ((readings or 0) / greatest) ** 0.5)
    return float(max(16.0, side * side))


def _key(rows: Sequence[Row], note: str, area: PlotArea) -> list[alt.Chart]:
    x = 14.0 - area.left + 14
    y = area.height + 27
    drawn = []
    present = [s for s in dict.fromkeys(r["state"] for r in rows) if s not in MISSING]
    for state in present:
        shape, fill, stroke = _look(state)
        mark = layer([{}]).mark_point(
            filled=True,
            opacity=1,
            size=70,
            shape=shape,
            fill=fill,
            stroke=stroke,
            strokeWidth=1.6,
        )
        drawn.append(mark.encode(x=x_at(x + 5), y=y_at(y), tooltip=no_tooltip()))
        drawn.append(text_mark(state, x + 16, y + 5, theme.SMALL_PX, colour=theme.SOFT_INK))
        x += text_width(state, theme.SMALL_PX) + 40
    drawn.append(
        text_mark(
            EMPTY_NOTE,
            x,
            y + 5,
            theme.SMALL_PX,
            colour=theme.SOFT_INK,
        )
    )
    drawn.append(
        text_mark(note, area.width, y + 5, theme.SMALL_PX, colour=theme.SOFT_INK, align="right")
    )
    return drawn
