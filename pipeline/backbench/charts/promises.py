"""Specifications of the whole catalogue beside what was measured: how much better or worse."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import altair as alt
import polars as pl

from backbench.charts import theme
from backbench.charts.axis import Axis, axis
from backbench.charts.chart_text import shortened, text_width, unit_name, wrapped
from backbench.charts.declaration import chart
from backbench.charts.drawing import PAGE, ChartInput, Labels, Size
from backbench.charts.label_placement import Spot, beside, swarm
from backbench.charts.mark_layers import (
    Row,
    bound_arrows,
    dots,
    horizontal_error_bars,
    pixel_x_axis,
    pixel_y_axis,
    subject_marks,
)
from backbench.charts.page_layout import (
    PlotArea,
    assemble,
    edge,
    message_chart,
    narrow,
    plot_area,
    technology_symbol,
    text_mark,
)
from backbench.charts.small_multiples import straight_lines
from backbench.quantities.counts import counted
from backbench.quantities.sentences import listed, lowered
from backbench.quantities.writing import axis_labels, signed

COLUMNS = (
    "unit_key", "label", "technology", "metric", "title", "outcome", "margin_db", "margin_low_db",
    "margin_high_db", "margin_bound",
)  # fmt: skip
MOST_STRIPS = 7
MOST_MISSED_NAMED = 3
DOT_PX = 7.5
NAMES_PX, COUNTS_PX = 250.0, 226.0
STACKED_WORDS_PX, STACKED_PX = 62.0, 142.0
TITLE = "Better than specified by (dB)"
HEADING = "Specified and measured"
QUESTION = "How do the units of the catalogue stand to what their makers specified?"
CONDITIONS = "as specified; the worse output; newest review of each unit"
OUTCOMES = {"meets": "met", "inconclusive": "inconclusive", "fails": "missed"}
"""What a reading says of a specification, by the outcome's name."""


@dataclass(frozen=True)
class _Strip:
    """One quantity: its rows that were held against a specification, and how many weren't."""

    title: str
    rows: list[Row]
    other: int

    @property
    def counts(self) -> str:
        found = Counter(row["outcome"] for row in self.rows)
        parts = [f"{found[name]} {word}" for name, word in OUTCOMES.items() if found[name]]
        return ", ".join([*parts, *([f"{self.other} not comparable"] if self.other else [])])


def _strips(chart_input: ChartInput) -> list[_Strip]:
    """Quantities in order of how many specifications there are of them."""
    of_metric: dict[str, list[Row]] = {}
    for row in chart_input.frame.to_dicts():
        of_metric.setdefault(row["metric"], []).append(row)
    strips = []
    for rows in of_metric.values():
        held = [row for row in rows if row["margin_db"] is not None]
        strips.append(_Strip(rows[0]["title"], held, len(rows) - len(held)))
    kept = [strip for strip in strips if strip.rows]
    return sorted(kept, key=lambda strip: (-len(strip.rows), strip.title))


def _finding(chart_input: ChartInput) -> str:
    """How many specifications are met and missed; of the marked unit where there is one."""
    rows = [row for strip in _strips(chart_input) for row in strip.rows]
    if chart_input.subject:
        rows = [row for row in rows if row["unit_key"] == chart_input.subject]
    if not rows:
        return ""
    found = Counter(row["outcome"] for row in rows)
    missed = Counter(row["title"] for row in rows if row["outcome"] == "fails").most_common(2)
    total = counted(len(rows), "specification")
    text = f"{found['meets']} of {total} tested are met, {found['fails']} missed"
    if chart_input.subject:
        text = f"{rows[0]['label']}: {text}"
        return text + (f": {listed([lowered(t) for t, _ in missed])}" if missed else "")
    most = [f"{lowered(title)} ({n})" for title, n in missed]
    return text + (f", most often {listed(most)}" if most else "")


@chart("promises", COLUMNS, finding=_finding)
def promises(chart_input: ChartInput) -> alt.LayerChart:
    """How much better than specified every unit is, a strip for each quantity.

    One row a unit and specification; those without a margin are counted. Full marks are met or
    missed, open ones inconclusive.
    """
    strips = _strips(chart_input)
    if not strips:
        return message_chart(chart_input, "No specification has a figure that it is held to yet.")
    shown, small = strips[:MOST_STRIPS], narrow(chart_input)
    side = edge(chart_input)
    area = plot_area(
        chart_input, left=side if small else NAMES_PX, right=side if small else COUNTS_PX,
        bottom=116 if small else 88, above=20, tall=STACKED_PX * len(shown),
    )  # fmt: skip
    x_axis = axis([0.0, *(row["margin_db"] for s in shown for row in s.rows)], 0.0, area.width)
    step = area.height / len(shown)
    layers = _numbers(x_axis, area)
    for k, strip in enumerate(shown):
        top, bottom = step * k, step * (k + 1)
        layers += _words(strip, area, (top, bottom), chart_input)
        top += STACKED_WORDS_PX if small else 0.0
        layers += _ground(x_axis, area, top, bottom)
        top += 6.0
        layers += _marks(strip, x_axis, area, (top, bottom - 4.0), chart_input.subject)
    rows = [row for strip in shown for row in strip.rows]
    return assemble(
        chart_input, area, [*layers, *_key(rows, len(strips) - len(shown), area, chart_input)]
    )


def _ground(x_axis: Axis, area: PlotArea, top: float, bottom: float) -> list[alt.Chart]:
    """Gridlines of a strip, and the line of what was specified."""
    upright = [{"px": x_axis.px(t), "px2": x_axis.px(t), "py": top, "py2": bottom}
               for t in x_axis.ticks]  # fmt: skip
    zero = [{"px": x_axis.px(0), "px2": x_axis.px(0), "py": top, "py2": bottom}]
    return [
        *straight_lines(upright, area.width, area.height),
        *straight_lines(zero, area.width, area.height, theme.INK, 1.4),
    ]


def _numbers(x_axis: Axis, area: PlotArea) -> list[alt.Chart]:
    """The numbers and the title of the axis, and what its zero is."""
    labels = axis_labels(x_axis.ticks)
    at_zero = min(max(x_axis.px(0), 40.0), area.width - 40)
    return [
        *(text_mark(text, x_axis.px(t), area.height + 20, align="center")
          for t, text in zip(x_axis.ticks, labels, strict=True)),
        text_mark(TITLE, area.width / 2, area.height + 42, colour=theme.SOFT_INK, align="center"),
        text_mark("as specified", at_zero, -6, theme.SMALL_PX, colour=theme.SOFT_INK,
                  align="center"),
    ]  # fmt: skip


def _words(
    strip: _Strip, area: PlotArea, span: tuple[float, float], chart_input: ChartInput
) -> list[alt.Chart]:
    """The quantity at the left and what became of its specifications at the right."""
    top, bottom = span
    small, middle = narrow(chart_input), (top + bottom) / 2
    line = [{"px": 0.0, "px2": area.width, "py": bottom, "py2": bottom}]
    if small:
        title = shortened(strip.title, area.width, theme.TEXT_PX)
        counts = wrapped(strip.counts, area.width, theme.SMALL_PX)
        words = [text_mark(title, 0, top + 20),
                 *(text_mark(text, 0, top + 38 + 17 * n, theme.SMALL_PX, colour=theme.SOFT_INK)
                   for n, text in enumerate(counts))]  # fmt: skip
    else:
        lines = wrapped(strip.title, area.left - 40, theme.TEXT_PX)
        words = _stacked(lines, edge(chart_input) - area.left, middle, theme.TEXT_PX)
        unbroken = ", ".join(part.replace(" ", "\u00a0") for part in strip.counts.split(", "))
        counts = wrapped(unbroken, COUNTS_PX - 36, theme.SMALL_PX, 3)
        words += _stacked(counts, area.width + 16, middle, theme.SMALL_PX)
    return [*straight_lines(line, area.width, area.height), *words]


def _stacked(lines: Sequence[str], left: float, middle: float, size: float) -> list[alt.Chart]:
    """Lines one beneath the other about a middle."""
    return [text_mark(text, left, middle + 5 + 17 * (n - (len(lines) - 1) / 2), size)
            for n, text in enumerate(lines)]  # fmt: skip


def _marks(
    strip: _Strip, x_axis: Axis, area: PlotArea, span: tuple[float, float], subject: str
) -> list[alt.Chart]:
    """A dot a unit, and the names of those that miss most and of the marked one."""
    middle, half = (span[0] + span[1]) / 2, (span[1] - span[0]) / 2 - DOT_PX / 2
    aside = swarm([x_axis.px(row["margin_db"]) for row in strip.rows], DOT_PX, max(half, 0.0))
    placed = [_placed(row, x_axis, middle + dy) for row, dy in zip(strip.rows, aside, strict=True)]
    own = [row | {"_strong": True} for row in placed if subject and row["unit_key"] == subject]
    peers = [row for row in placed if not subject or row["unit_key"] != subject]
    wide, high = pixel_x_axis(area.width), pixel_y_axis(area.height)
    x, y = wide.x("px"), high.y("py")
    return [
        *dots(peers, x, y),
        *horizontal_error_bars(own, wide, y, "from", "to", weight=2.2),
        *subject_marks(own, x, y, size=110),
        *bound_arrows([{**row, "bound": row["arrow"]} for row in placed], x, y, upright=False),
        *_names(placed, own, area),
    ]


def _placed(row: Row, x_axis: Axis, py: float) -> Row:
    technology = row["technology"] or "not stated"
    low, high = row["margin_low_db"], row["margin_high_db"]
    return {
        "unit_key": row["unit_key"], "label": row["label"], "technology": technology,
        "px": x_axis.px(row["margin_db"]), "py": py, "margin": row["margin_db"],
        "from": None if low is None else x_axis.px(low),
        "to": None if high is None else x_axis.px(high),
        "outcome": row["outcome"], "arrow": row["margin_bound"],
        "bound": row["outcome"] == "inconclusive",
        "value_text": f"{signed(row['margin_db'], 'dB')}: {OUTCOMES[row['outcome']]}",
    }  # fmt: skip


def _names(rows: Sequence[Row], own: Sequence[Row], area: PlotArea) -> list[alt.Chart]:
    """Names beside their dots, where there is room: the marked unit, then those that miss most."""
    missed = sorted((r for r in rows if r["outcome"] == "fails"), key=lambda r: r["margin"])
    named = [*own, *(r for r in missed[:MOST_MISSED_NAMED] if r not in own)]
    named = list({row["unit_key"]: row for row in named}.values())
    texts = {row["unit_key"]: unit_name(row["label"], 150.0, theme.SMALL_PX) for row in named}
    rest = [row for row in rows if row["unit_key"] not in texts]
    spots = [
        Spot(row["px"], row["py"], DOT_PX / 2, width)
        for row, width in (
            *((row, text_width(texts[row["unit_key"]], theme.SMALL_PX)) for row in named),
            *((row, 0.0) for row in rest),
        )
    ]
    places = beside(spots, 13.0, (area.width, area.height))
    return [
        text_mark(texts[row["unit_key"]], place[0], place[1] + 5, theme.SMALL_PX)
        for row, place in zip(named, places, strict=False)
        if place is not None
    ]


def _key(
    rows: Sequence[Row], left_out: int, area: PlotArea, chart_input: ChartInput
) -> list[alt.Chart]:
    """Technologies of the dots, and what open ones are."""
    start = edge(chart_input) - area.left
    left, y, drawn = start, area.height + 68, []
    for name in theme.in_order(row["technology"] for row in rows):
        drawn += [technology_symbol(name, left + 6, y - 5),
                  text_mark(name, left + 18, y, theme.SMALL_PX, colour=theme.SOFT_INK)]  # fmt: skip
        left += 34 + text_width(name, theme.SMALL_PX)
    notes = ["open: inconclusive"] * any(row["outcome"] == "inconclusive" for row in rows)
    notes += [f"{counted(left_out, 'quantity', 'quantities')} more not drawn"] * bool(left_out)
    if narrow(chart_input):
        left, y = start, y + 22
    note = text_mark("; ".join(notes), left + 6, y, theme.SMALL_PX, colour=theme.SOFT_INK)
    return [*drawn, note]


def promises_chart(frame: pl.DataFrame, subject: str = "", size: Size = PAGE) -> alt.TopLevelMixin:
    """The picture of every specification of a catalogue, with its words; one unit marked."""
    missing = f"{subject} has no specification that a figure was held against."
    labels = Labels(title=HEADING, question=QUESTION, note=CONDITIONS, missing=missing)
    return promises.draw(frame, labels, subject, size)
