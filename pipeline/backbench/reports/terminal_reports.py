"""Reports in the terminal: differences, trends and the bench over time."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING

from backbench.comparison.another_session import default_note
from backbench.comparison.drift import FEWEST
from backbench.comparison.quantity_names import of_point
from backbench.comparison.usual_differences import usual
from backbench.quantities.counts import counted
from backbench.quantities.sentences import sentence
from backbench.quantities.writing import ordinary, signed
from backbench.reports.result_cells import printable
from backbench.reports.terminal_tables import (
    console,
    flowing,
    indented,
    number,
    quantity,
    show_table,
)

if TYPE_CHECKING:
    import datetime as dt

    from rich.console import Console

    from backbench.comparison.differences import Difference
    from backbench.comparison.drift import Series
    from backbench.comparison.regression import Quantity, Regression, Screening
    from backbench.comparison.standings import NearUnit
    from backbench.statistics.trends import Screened

LIKELY = 0.05
"""Adjusted p up to which a screened trend is listed one by one."""
MOST_TRENDS = 15


def show_differences(
    title: str,
    differences: Sequence[Difference],
    most: int | None = None,
    out: Console | None = None,
    *,
    everything: bool = False,
) -> None:
    """Differences, the most significant first, and the number that are not significant.

    everything: name each quantity whose spread between sessions is a default.
    """
    out = out or console()
    apart = [d for d in differences if d.beyond is not None and d.beyond > 1]
    heads = (("Metric", "left"), ("First", "right"), ("Second", "right"), ("Diff. / U", "right"),
             ("Second is", "left"))  # fmt: skip
    rows = [
        (_name(d), quantity(d.first, d.unit), quantity(d.second, d.unit), number(d.beyond, 2),
         d.assessment)
        for d in apart[:most]
    ]  # fmt: skip
    show_table(out, heads, rows, f"{printable(title)}: significant differences")
    more = len(apart) - len(apart[:most])
    notes = f"{more} more significant; " if more else ""
    flowing(
        out, f"{notes}{len(differences) - len(apart)} of {len(differences)} differences "
        "are not significant "
        "(smaller than their expanded uncertainty, k = 2)",
    )  # fmt: skip
    if note := default_note(differences, everything=everything):
        flowing(out, sentence(note))


def show_pair(title: str, differences: Sequence[Difference], *, everything: bool) -> None:
    """Of two sides the usual quantities, one row each; everything: all differences."""
    shown = differences if everything else usual(differences)
    out = console()
    show_differences(title, shown, out=out, everything=everything)
    if len(shown) < len(differences):
        flowing(out, f"With --all: every quantity at every test point, {len(differences)} in all.")


def _name(d: Difference) -> str:
    parts = [d.title]
    if d.order_n is not None:
        parts.append(f"order {d.order_n}")
    if d.limit_percent is not None:
        parts.append(f"at {quantity(d.limit_percent, '%')}")
    if d.own_frequency_hz is not None:
        parts.append(f"at {quantity(d.own_frequency_hz, 'Hz')}")
    for what, text in sorted(json.loads(d.detail).items()):
        parts.append(f"{text}" if what in d.title.lower() else f"{what} {text}")
    return ", ".join(filter(None, (*parts, of_point(d.point_key, d.point), d.output)))


def show_nearest(out: Console, near: Sequence[NearUnit]) -> None:
    """The units most similar to one unit, with the metrics that decide it."""
    heads = (("Unit", "left"), ("Distance", "right"), ("Over", "right"),
             ("Most similar in", "left"), ("Least similar in", "left"))  # fmt: skip
    rows = [
        (unit.label, number(unit.distance, 2), counted(unit.shared, "metric"),
         ", ".join(unit.alike), ", ".join(unit.apart))
        for unit in near
    ]  # fmt: skip
    show_table(out, heads, rows, "Most similar units (distance in robust deviations)")


def show_against(regression: Regression) -> None:
    """A trend in sentences: over all units, within each group, and where the signs differ."""
    from backbench.statistics.trends import description_lines

    out = console()
    flowing(out, f"{regression.y.title} over {regression.x.title}", style="bold")
    flowing(out, "Theil-Sen slope with its interval, Spearman's rho, permutation p-value")
    for line in description_lines(regression.trend, regression.x.unit, regression.y.unit):
        indented(out, line)


def show_screening(screening: Screening) -> None:
    """The trends that are significant at a false-discovery rate of 5 %, and how many aren't."""
    out = console()
    likely = [(y, one) for y, one in screening.metrics if one.adjusted_p <= LIKELY]
    shown = likely[:MOST_TRENDS]
    heads = (("Metric", "left"), ("Slope", "right"), ("rho", "right"), ("Adjusted p", "right"),
             ("n", "right"))  # fmt: skip
    rows = [_screened(y, one, screening.x.unit) for y, one in shown]
    show_table(out, heads, rows, f"Trends against {printable(screening.x.title)}")
    flowing(
        out, f"{len(likely)} of {len(screening.metrics)} metrics have a significant trend at a "
        f"false-discovery rate of 5 % (Benjamini-Hochberg); {len(screening.refused)} have too few "
        "units",
    )  # fmt: skip
    if len(likely) > len(shown):
        flowing(out, f"the {len(shown)} most significant are shown; --format csv lists all")
    for y, one in shown:
        if one.trend.note:
            indented(out, f"{y.title}: {one.trend.note}")


def _screened(y: Quantity, one: Screened, per: str) -> tuple[str, ...]:
    from backbench.statistics.trends import slope_text

    return (
        y.title, slope_text(one.trend.slope, per, y.unit), number(one.trend.rho, 2),
        number(one.adjusted_p, 2), str(one.trend.n),
    )  # fmt: skip


def show_drift(
    bench: str, all_series: Sequence[Series], events: Sequence[tuple[dt.date, str]] = ()
) -> None:
    """Each series of a bench with its control limits, then steps, runs and what it lacks.

    events: what was done to the bench, by day.
    """
    out = console()
    heads = (
        ("Series", "left"), ("Reviews", "right"), ("Median", "right"), ("Control limits", "right"),
        ("Outside", "right"), ("Steps", "right"), ("Runs", "right"),
    )  # fmt: skip
    rows = [_controlled(series) for series in all_series if series.chart is not None]
    title = f"Bench {printable(bench)} over time"
    show_table(out, heads, rows, title, spared=("Reviews", "Median", "Runs"))
    flowing(
        out, "individuals and moving range chart, 3 standard deviations; run rules of Western "
        "Electric (NIST/SEMATECH e-Handbook, 6.3.2)",
    )  # fmt: skip
    for step in (step for series in all_series for step in series.steps()):
        indented(
            out, f"{step.series}: {ordinary(signed(step.change, step.unit))} between "
            f"{step.before} and {step.after}",
        )  # fmt: skip
    for series in all_series:
        for day, rule in series.runs():
            indented(out, f"{series.name}: {rule}, to {day}")
    for day, what in events:
        indented(out, f"{day}: {what}")
    for text in _lacking(all_series):
        indented(out, text)


def _lacking(all_series: Sequence[Series]) -> list[str]:
    """How many values each series still needs; calibrations are meant to be few."""
    own = [series for series in all_series if not series.name.startswith("calibration")]
    if not own:
        return [f"no loop-back yet: limits need {FEWEST} of each sort"]
    few = [series for series in own if series.lacking]
    noun = "more loop-back" if own[0].name.startswith("loop-back") else "more review"
    return [f"{s.name}: no limits yet, needs {counted(s.lacking, noun)}" for s in few]


def _controlled(series: Series) -> tuple[str, ...]:
    chart = series.chart
    assert chart is not None
    return (
        series.name, str(len(series.values)), f"{number(chart.centre)} {series.unit}",
        f"{number(chart.low)} to {number(chart.high)} {series.unit}", str(len(chart.beyond)),
        str(len(chart.steps)), str(len(chart.runs)),
    )  # fmt: skip
