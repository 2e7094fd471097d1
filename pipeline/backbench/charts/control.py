"""A bench over time, as a control chart."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

import altair as alt

from backbench.charts import theme
from backbench.charts.canvas import Field, assemble, field, layer, sentence, words
from backbench.charts.declare import Plate, chart
from backbench.charts.fixed import silent
from backbench.charts.marks import Row
from backbench.charts.panels import positions, rules, scale_lines
from backbench.charts.placing import spread
from backbench.charts.ruler import Ruler, ruler
from backbench.charts.wording import quantity, shortened

COLUMNS = ("bench_key", "series", "reviewed", "value", "u")
MOST_SERIES = 4
FEWEST = 5
# Mean range of two normal values over their standard deviation, d2 for n = 2: 2 / sqrt(pi).
D2 = 1.128379
COVERAGE = 2.0


@dataclass(frozen=True)
class Limits:
    """Centre and control limits of single values."""

    centre: float
    low: float
    high: float


@chart("control", COLUMNS, ("label", "unit"))
def control(plate: Plate) -> alt.LayerChart:
    """A bench's loop-back and reference readings over time, with control limits."""
    rows = [r for r in plate.frame.to_dicts() if r["value"] is not None and r["reviewed"]]
    if not rows:
        return sentence(plate, "This bench has no readings of itself yet.")
    keys = list(dict.fromkeys((r["bench_key"], r["series"]) for r in rows))
    counts = {k: sum((r["bench_key"], r["series"]) == k for r in rows) for k in keys}
    keys.sort(key=lambda k: -counts[k])
    area = field(plate, left=104, right=150, bottom=44, above=18)
    days = [_day(r["reviewed"]) for r in rows]
    along = _calendar(min(days), max(days), area.width)
    high = area.height / min(len(keys), MOST_SERIES)
    layers = _years(along, area)
    for k, key in enumerate(keys[:MOST_SERIES]):
        some = [r for r in rows if (r["bench_key"], r["series"]) == key]
        some.sort(key=lambda r: _day(r["reviewed"]))
        layers += _panel(some, plate, k * high, high, along, area)
    if len(keys) > MOST_SERIES:
        text = f"{len(keys) - MOST_SERIES} more series not drawn"
        layers.append(words(text, area.width, -4, 13, colour=theme.SOFT_INK, align="right"))
    return assemble(plate, area, layers)


def limits(values: Sequence[float]) -> Limits | None:
    """Centre and limits of single values: mean ± 3 mean moving ranges / d2.

    The chart of individual values (ISO 7870-2; formula from memory, not read in the standard).
    None for fewer than FEWEST values.
    """
    if len(values) < FEWEST:
        return None
    ranges = [abs(b - a) for a, b in itertools.pairwise(values)]
    reach = 3 * fmean(ranges) / D2
    centre = fmean(values)
    return Limits(centre, centre - reach, centre + reach)


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
    rows: Sequence[Row], plate: Plate, top: float, high: float, along: Ruler, area: Field
) -> list[alt.Chart]:
    unit = str(rows[0].get("unit") or plate.labels.unit_of("value"))
    values = [r["value"] for r in rows]
    found = limits(values)
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
    return drawn + _points(rows, found, unit, up, along, area)


def _limit_lines(found: Limits, up: Ruler, area: Field) -> list[alt.Chart]:
    named = (("upper limit", found.high), ("mean", found.centre), ("lower limit", found.low))
    drawn = []
    places = 3 - math.floor(math.log10(up.high - up.low))
    heights = spread([up.px(value) for _, value in named], 16.0, 10.0, area.height)
    for (name, value), at in zip(named, heights, strict=True):
        y = up.px(value)
        line = {"px": 0.0, "px2": area.width, "py": y, "py2": y}
        dash = (1, 0) if name == "mean" else (6, 4)
        drawn += rules([line], area.width, area.height, theme.SOFT_INK, 1.1, dash)
        text = f"{name}\u2002{quantity(round(value, places), up.unit, 4)}"
        drawn.append(words(text, area.width + 8, at + 4, 12, colour=theme.SOFT_INK))
    return drawn


def _points(
    rows: Sequence[Row], found: Limits | None, unit: str, up: Ruler, along: Ruler, area: Field
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
                "told": f"{quantity(row['value'], unit, 4)} ± {quantity(reach, unit, 2)}",
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
            colour = theme.LOOKS["tube"].colour if outside else theme.INK
            mark = layer(some).mark_point(
                filled=True,
                opacity=1,
                color=colour,
                size=150 if outside else 50,
                shape="diamond" if outside else "circle",
            )
            drawn.append(mark.encode(x=x, y=y, tooltip=tips))
    return drawn
