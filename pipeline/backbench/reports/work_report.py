"""The report of a unit before and after work."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from backbench.comparison.another_session import default_note
from backbench.comparison.quantity_names import quantity_name
from backbench.comparison.usual_differences import of_other_outputs, one_per_metric
from backbench.comparison.work_effects import VERDICTS, effects_summary
from backbench.metrics.declared_traits import declarations
from backbench.quantities.sentences import sentence
from backbench.quantities.writing import measured, ordinary, quantity
from backbench.reports.result_cells import printable
from backbench.reports.terminal_tables import WIDTH, console, flowing

if TYPE_CHECKING:
    from rich.console import Console

    from backbench.comparison.differences import Difference
    from backbench.comparison.work_comparison import WorkComparison

SIGNIFICANT_DIGITS = 3
NAME, VALUES, CHANGE = 24, 20, 19
LONGEST_NAME = 60
"""Of a quantity, in a terminal that is wide enough."""


def show_work(
    work: WorkComparison, out: Console | None = None, *, everything: bool = False
) -> None:
    """A summary, a row a quantity, and what has no row.

    everything: also quantities that another one says again.
    """
    out = out or console()
    flowing(out, f"{work.unit_key}: before ({work.before}) and after ({work.after})", style="bold")
    usual = one_per_metric(work.differences)
    flowing(out, effects_summary(usual))
    if usual:
        _show_rows(out, usual, work.differences, everything)
        flowing(
            out, "Conditions are equal on both sides. ± is the expanded uncertainty of the change "
            "(95 %), with that of another session in it.",
        )  # fmt: skip
    unequal = sorted({name for d in usual for name in d.one_sided})
    if unequal:
        flowing(out, f"Stated in one of the reviews only: {', '.join(unequal)}.")
    if work.left_out:
        flowing(out, sentence(f"not compared: {'; '.join(work.left_out)}"))
    if note := default_note(usual):
        flowing(out, sentence(note))


def _show_rows(
    out: Console, usual: Sequence[Difference], differences: Sequence[Difference], everything: bool
) -> None:
    room = min(max(NAME + out.width - WIDTH, NAME), LONGEST_NAME)
    heads = f"{'':{room}} {'before → after':{VALUES}} {'change ± U':{CHANGE}} verdict"
    out.print(heads, style="bold", markup=False)
    on_request = declarations().having(lambda traits: traits.on_request)
    for d in usual:
        if everything or d.metric not in on_request or d.assessment == "worse":
            for line in _lines(d, differences, room):
                out.print(printable(ordinary(line)), markup=False)


def _lines(d: Difference, differences: Sequence[Difference], room: int) -> Iterator[str]:
    """The quantity's row, and one of each other output that changed otherwise."""
    yield from _row(d, room)
    for other in of_other_outputs(d, differences):
        if other.assessment != d.assessment:
            yield from _row(other, room)


def _row(d: Difference, room: int) -> list[str]:
    """Name, values, change and verdict in columns; what a name has too much goes below.

    room: characters for the name.
    """
    name = quantity_name(d.metric, d.title, d.limit_percent, d.point_key)
    marks = [d.output, "from an old record" * d.entered]
    shown = f"{name} ({', '.join(filter(None, marks))})" if any(marks) else name
    values = " → ".join(
        quantity(value, d.unit, SIGNIFICANT_DIGITS) for value in (d.first, d.second)
    )
    change = measured(d.difference, d.uncertainty, d.unit)
    first, *rest = textwrap.wrap(ordinary(shown), room)
    return [f"{first:{room}} {values:{VALUES}} {change:{CHANGE}} {VERDICTS[d.assessment]}", *rest]
