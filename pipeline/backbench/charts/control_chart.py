"""A bench over time, as a control chart."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Ruler, ruler
from backbench.charts.chart_text import shortened, text_width, wrapped
from backbench.charts.constant_encodings import silent
from backbench.charts.declaration import chart
from backbench.charts.drawing import Plate
from backbench.charts.label_placement import spread
from backbench.charts.mark_layers import Row
from backbench.charts.page_layout import Field, assemble, field, layer, sentence, words
from backbench.charts.small_multiples import positions, rules, scale_lines
from backbench.comparison.drift import FEWEST, Control
from backbench.comparison.drift import control as control_chart
from backbench.errors import Refusal
from backbench.quantities.writing import COVERAGE, measured, quantity

COLUMNS = ("bench_key", "series", "reviewed", "value", "u")
MOST_SERIES = 4
FLAG = theme.LOOKS["tube"].colour
TOGETHER_PX = 3.0

Key = tuple[str, str]


@chart("control", COLUMNS, ("label", "unit"))
def control(plate: Plate) -> alt.LayerChart:
    """A bench's readings of itself over time, with control limits and the steps flagged.

    Limits and steps: backbench.comparison.drift. Series with a flagged step are drawn first, then
    one of each sort; what is left out is named.
    """
    rows = [r for r in plate.frame.to_dicts() if r["value"] is not None and r["reviewed"]]
    if not rows:
        return sentence(plate, "This bench has no readings of itself yet.")
    series: dict[Key, list[Row]] = {}
    for row in sorted(rows, key=lambda r: _day(r["reviewed"])):
        series.setdefault((row["bench_key"], row["series"]), []).append(row)
    found = {key: limits([r["value"] for r in some]) for key, some in series.items()}
    keys = worth_drawing(series, found)
    area = field(plate, left=104, right=150, bottom=74, above=18)
    days = [_day(r["reviewed"]) for r in rows]
    along = _calendar(min(days), max(days), area.width)
    high = area.height / min(len(keys), MOST_SERIES)
    layers = _years(along, area)
    for k, key in enumerate(keys[:MOST_SERIES]):
        layers += _panel(
            rows=series[key],
            found=found[key],
            plate=plate,
            top=k * high,
            high=high,
            along=along,
            area=area,
        )
    foot = _left_out(keys[MOST_SERIES:], found)
    lines = wrapped(f"bars: ±2 u (k = 2){foot}", plate.size.width - 52, 13)
    layers += [
        words(text, 26 - area.left, area.height + 46 + 17 * k, 13, colour=theme.SOFT_INK)
        for k, text in enumerate(lines)
    ]
    return assemble(plate, area, layers)


def limits(values: Sequence[float]) -> Control | None:
    """The control chart of single values in order of time; None where they are too few."""
    try:
        return control_chart(values)
    except Refusal:
        return None


def worth_drawing(
    series: Mapping[Key, Sequence[Row]], found: Mapping[Key, Control | None]
) -> list[Key]:
    """Series in the order of their worth: with flagged steps, one of each sort, the others.

    A sort is the series' name without what follows its last comma (the output, the range).
    """
    longest = sorted(series, key=lambda key: -len(series[key]))
    stepped = [key for key in longest if (chart := found[key]) is not None and chart.steps]
    sorts = {(key[0], _sort(key)) for key in stepped}
    first: list[Key] = []
    for key in longest:
        if (key[0], _sort(key)) not in sorts:
            sorts.add((key[0], _sort(key)))
            first.append(key)
    return [*stepped, *first, *(key for key in longest if key not in stepped and key not in first)]


def _sort(key: Key) -> str:
    return key[1].split(", track")[0].rpartition(", ")[0] or key[1].split(", ")[0]


def _left_out(keys: Sequence[Key], found: Mapping[Key, Control | None]) -> str:
    """What is not drawn, by sort, with how many have a flagged step."""
    if not keys:
        return ""
    counts: dict[str, int] = {}
    for key in keys:
        counts[_sort(key)] = counts.get(_sort(key), 0) + 1
    stepped = sum((chart := found[key]) is not None and bool(chart.steps) for key in keys)
    flagged = f"{stepped} of them with a step" if stepped else "none of them with a step"
    told = ", ".join(f"{count} of {sort}" for sort, count in counts.items())
    return f"; not drawn: {len(keys)} more series, {flagged} ({told})"


def _day(value: object) -> float:
    if isinstance(value, dt.datetime):
        value = value.date()
    if isinstance(value, dt.date):
        return float(value.toordinal())
    return float(dt.date.fromisoformat(str(value)[:10]).toordinal())


def _calendar(first: float, last: float, width: float) -> Ruler:
    room = max((last - first) * 0.03, 20.0)
    low, high = first - room, last + room
    years = range(dt.date.fromordinal(int(low)).year, dt.date.fromordinal(int(high)).year + 2)
    every = max(1, round(len(years) * 60 / width))
    starts = [float(dt.date(y, 1, 1).toordinal()) for y in years if y % every == 0]
    ticks = tuple(t for t in starts if low <= t <= high)
    return Ruler(low, high, 0.0, width, False, ticks)


def _years(along: Ruler, area: Field) -> list[alt.Chart]:
    lines = [
        {"px": along.px(t), "px2": along.px(t), "py": 0.0, "py2": area.height} for t in along.ticks
    ]
    drawn = rules(lines, area.width, area.height)
    foot = {"px": 0.0, "px2": area.width, "py": area.height, "py2": area.height}
    drawn += rules([foot], area.width, area.height, theme.INK, 0.8)
    names = [(along.px(t), str(dt.date.fromordinal(int(t)).year)) for t in along.ticks]
    if not names:
        ends = (along.low, along.high)
        names = [(along.px(t), str(dt.date.fromordinal(int(t)))) for t in ends]
    return drawn + [words(n, x, area.height + 22, align="center") for x, n in names]


def _panel(
    rows: Sequence[Row],
    found: Control | None,
    plate: Plate,
    top: float,
    high: float,
    along: Ruler,
    area: Field,
) -> list[alt.Chart]:
    unit = str(rows[0].get("unit") or plate.labels.unit_of("value"))
    values = [r["value"] for r in rows]
    reach = [r["value"] + sign * COVERAGE * (r["u"] or 0.0) for r in rows for sign in (-1, 1)]
    ends = [found.low, found.high] if found else []
    up = ruler([*values, *reach, *ends], top + high - 10, top + 30, unit)
    title = f"{rows[0]['bench_key']}: {rows[0]['series']}"
    drawn = scale_lines(up, 0.0, area.width, area.width, area.height)
    drawn.append(words(shortened(title, area.width, 15), 0, top + 20, 15, bold=True))
    if found:
        drawn += _limit_lines(found, up, area)
    else:
        text = f"under {FEWEST} readings: no limits"
        drawn.append(words(text, area.width, top + 20, 13, colour=theme.SOFT_INK, align="right"))
    return (
        drawn + _points(rows, found, unit, up, along, area) + _steps(rows, found, up, along, area)
    )


def _limit_lines(found: Control, up: Ruler, area: Field) -> list[alt.Chart]:
    levels = (found.high, found.centre, found.low)
    drawn = []
    for value in levels:
        y = up.px(value)
        line = {"px": 0.0, "px2": area.width, "py": y, "py2": y}
        dash = (1, 0) if value == found.centre else (6, 4)
        drawn += rules([line], area.width, area.height, theme.SOFT_INK, 1.1, dash)
    names = limit_names(found, up)
    wanted = [up.px(value) for value, _ in names]
    heights = spread(wanted, 16.0, up.end - 16, up.start + 4)
    for (_, text), at in zip(names, heights, strict=True):
        drawn.append(words(text, area.width + 8, at + 4, 12, colour=theme.SOFT_INK))
    return drawn


def limit_names(found: Control, up: Ruler) -> list[tuple[float, str]]:
    """The lines' names with their values; as a distance where they lie too close to be told."""
    if abs(up.px(found.high) - up.px(found.low)) < 2 * TOGETHER_PX:
        reach = found.high - found.centre
        told = f"limits\u2002± {quantity(reach, up.unit, 2)}" if reach else "no scatter: no limits"
        centre = round(found.centre, 1 - math.floor(math.log10(reach))) if reach else found.centre
        return [(found.centre, f"centre\u2002{quantity(centre, up.unit, 4)}"), (found.low, told)]
    named = (("upper limit", found.high), ("centre", found.centre), ("lower limit", found.low))
    return [(value, f"{name}\u2002{quantity(value, up.unit, 4)}") for name, value in named]


def _steps(
    rows: Sequence[Row], found: Control | None, up: Ruler, along: Ruler, area: Field
) -> list[alt.Chart]:
    """A line between the readings where the level moved, with by how much."""
    drawn = []
    for at in found.steps if found else ():
        x = (along.px(_day(rows[at - 1]["reviewed"])) + along.px(_day(rows[at]["reviewed"]))) / 2
        line = {"px": x, "px2": x, "py": up.start, "py2": up.end}
        drawn += rules([line], area.width, area.height, FLAG, 1.6)
        change = rows[at]["value"] - rows[at - 1]["value"]
        sign = "+" if change > 0 else ""
        text = f"step {sign}{quantity(change, up.unit, 2)}"
        x += 6 if x < area.width - 120 else -6 - text_width(text, 13)
        drawn.append(words(text, x, up.end + 4, 13, colour=FLAG))
    return drawn


def _points(
    rows: Sequence[Row], found: Control | None, unit: str, up: Ruler, along: Ruler, area: Field
) -> list[alt.Chart]:
    x, y, _, y2 = positions(area.width, area.height)
    placed = []
    for row in rows:
        reach = COVERAGE * (row["u"] or 0.0)
        outside = found is not None and not found.low <= row["value"] <= found.high
        placed.append(
            {
                "px": along.px(_day(row["reviewed"])),
                "py": up.px(row["value"]),
                "low": up.px(row["value"] - reach),
                "high": up.px(row["value"] + reach),
                "outside": outside,
                "day": str(row["reviewed"])[:10],
                "told": measured(row["value"], row["u"], unit),
            }
        )
    posts = [p | {"py": p["low"], "py2": p["high"]} for p in placed]
    line = layer(placed).mark_line(color=theme.SOFT_INK, strokeWidth=0.9)
    post = layer(posts).mark_rule(color=theme.INK, strokeWidth=1.2)
    drawn = [
        line.encode(x=x, y=y, tooltip=silent()),
        post.encode(x=x, y=y, y2=y2, tooltip=silent()),
    ]
    tips = [alt.Tooltip("day:N", title="reviewed"), alt.Tooltip("told:N", title="value (k = 2)")]
    for outside in (False, True):
        some = [p for p in placed if p["outside"] == outside]
        if some:
            colour = FLAG if outside else theme.INK
            mark = layer(some).mark_point(
                filled=True,
                opacity=1,
                color=colour,
                size=150 if outside else 50,
                shape="diamond" if outside else "circle",
            )
            drawn.append(mark.encode(x=x, y=y, tooltip=tips))
    return drawn
