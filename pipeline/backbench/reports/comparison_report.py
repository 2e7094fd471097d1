"""The report of one unit beside its peers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import IO, TYPE_CHECKING

from backbench.quantities.counts import counted
from backbench.quantities.writing import ordinary
from backbench.reports.terminal_reports import nearest_table, show_differences
from backbench.reports.terminal_tables import (
    console,
    flowing,
    indented,
    number,
    printable,
    quantity,
    table,
)

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from backbench.comparison.standings import Standing
    from backbench.comparison.unit_comparison import Comparison
    from backbench.comparison.verdicts import Verdict

MOST_DIFFERENCES = 6
"""Differences of a comparison that are shown, the most significant first."""


def show_comparison(comparison: Comparison, stream: IO[str] | None = None) -> None:
    """A unit among its peers: verdicts, then a line per metric, similar units, notes."""
    from backbench.comparison.standings import LIMIT_PERCENT

    out = console(stream)
    c = comparison
    flowing(out, f"{c.label} [{c.unit_key}]", style="bold")
    flowing(out, f"{c.technology} {c.kind}, {c.state}, reviewed {c.reviewed}")
    if c.verdicts:
        out.print(_verdict_table(c.verdicts))
    others = len(c.peers.keys) - 1
    out.print("Rank among its peers", style="bold")
    default = "" if c.peers.chosen else "; the default, choose others with --peers"
    flowing(out, f"Peers: {c.peers.description} ({counted(others, 'other unit')}{default})")
    heads = f"{'':{NAME}} {'value ± U (k = 2)':>{VALUE}} {'better':>{SHARE}}"
    out.print(heads, markup=False)
    heads = f"{'':{NAME}} {'':>{VALUE}} {'than %':>{SHARE}}  rank (1 = best)"
    out.print(heads, markup=False)
    # Powers at other limits than the usual one are in the exported table.
    _show_lines(out, [n for n in c.lines if n.limit_percent in (None, LIMIT_PERCENT)])
    if c.nearest:
        out.print()
        out.print(nearest_table(c.nearest))
    if c.listening:
        out.print("Audibility", style="bold")
    for sentence in c.listening:
        indented(out, sentence)
    for title, differences in (c.work, c.sides):
        if differences:
            show_differences(title, differences, MOST_DIFFERENCES, out)
    for note in c.notes:
        flowing(out, f"Note: {note}")


def _verdict_table(verdicts: Sequence[Verdict]) -> Table:
    from rich.text import Text

    made = table(
        ("Specification", "left"), ("Published", "left"), ("Measured", "left"), ("Verdict", "left"),
        title="Specifications",
    )  # fmt: skip
    for v in verdicts:
        value = quantity(v.value, v.unit, v.uncertainty)
        if value and v.output:
            value += f", {v.output}"
        promised = v.printed + (f" at {v.promised_at}" if v.promised_at else "")
        verdict = v.outcome
        why = (
            v.explanation
            if v.outcome in ("measured under other conditions", "not measured")
            else ""
        )
        verdict_text = f"{verdict}: {why}" if why else str(verdict)
        value += f"; {v.again_text}" if v.again_text else ""
        made.add_row(
            *(Text(printable(ordinary(part))) for part in (v.title, promised, value, verdict_text))
        )
    return made


def _show_lines(out: Console, lines: Sequence[Standing]) -> None:
    """A line a metric with its place, the units around it beneath; by test point."""
    point = ""
    for line in lines:
        if line.point != point:
            point = line.point
            out.print(f"\n{point[:1].upper()}{point[1:]}", style="bold", markup=False)
        for part in _placed_line(line):
            out.print(part, markup=False)
        for text in _around(line):
            indented(out, text)


NAME, VALUE, SHARE = 29, 22, 6


def line_name(line: Standing) -> str:
    """The metric with its limit."""
    limit = f": {quantity(line.limit_percent, '%')}" if line.limit_percent is not None else ""
    return f"{line.title}{limit}"


def _placed_line(line: Standing) -> list[str]:
    """Name, value, share and place in columns; what a name has too much goes below."""
    import textwrap

    from backbench.statistics.ranks import FEWEST_OTHERS

    value = quantity(line.value, line.unit, line.uncertainty, line.bound)
    value += " (entered)" if line.status == "entered" else ""
    share = "" if line.percentile is None else number(round(line.percentile))
    name, *rest = textwrap.wrap(line_name(line), NAME)
    few = line.better != "neither" and line.n <= FEWEST_OTHERS
    place = line.place or (
        f"no rank: {counted(line.n - 1, 'other')}" if few else counted(line.n, "unit")
    )
    row = f"{name:<{NAME}} {value:>{VALUE}} {share:>{SHARE}}  {place}"
    return [row, *rest]


def _around(line: Standing) -> list[str]:
    near = ", ".join(
        f"{unit.unit_key} {quantity(unit.value, line.unit)}{' (entered)' * unit.entered}"
        for unit in line.around
    )
    left = ", ".join(f"{count} {why}" for why, count in line.left_out.items())
    notes = [("nearest", near), ("left out", left), ("note", line.note)]
    return [f"{what}: {text}" for what, text in notes if text]
