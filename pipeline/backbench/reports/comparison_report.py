"""The report of one unit beside its peers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import IO, TYPE_CHECKING

from backbench.comparison.quantity_names import quantity_name
from backbench.metrics.declared_traits import declarations
from backbench.quantities.counts import counted
from backbench.quantities.writing import ordinary
from backbench.reports.terminal_reports import show_differences, show_nearest
from backbench.reports.terminal_tables import (
    WIDTH,
    console,
    flowing,
    indented,
    number,
    quantity,
    show_table,
)

if TYPE_CHECKING:
    from rich.console import Console

    from backbench.comparison.class_promises import ClassPromise
    from backbench.comparison.standings import Standing
    from backbench.comparison.unit_comparison import Comparison
    from backbench.comparison.verdicts import Verdict

MOST_DIFFERENCES = 6
"""Differences of a comparison that are shown, the most significant first."""

MOST_UNDECIDED = 5
"""Promises of other models that can't be held against a unit, which are shown."""


def show_comparison(
    comparison: Comparison, stream: IO[str] | None = None, *, everything: bool = False
) -> None:
    """Plain sentences first, then a line a specification and a line a quantity: about a screen.

    everything: also quantities that another one says again, the units around each value, who was
    left out, similar units, audibility, the differences by work and between sides, and the method.
    """
    from backbench.comparison.standings import LIMIT_PERCENT

    out = console(stream)
    c = comparison
    flowing(out, f"{c.label} [{c.unit_key}]: {c.technology} {c.kind}, {c.state}, "
            f"reviewed {c.reviewed}", style="bold")  # fmt: skip
    for sentence in c.sentences:
        flowing(out, ordinary(sentence))
    if c.verdicts and everything:
        _show_verdict_table(out, c.verdicts)
    elif c.verdicts:
        _show_verdicts(out, c.verdicts)
    others = len(c.peers.keys) - 1
    default = "" if c.peers.chosen else "; choose others with --peers"
    flowing(out, f"Rank among {c.peers.description} ({counted(others, 'other unit')}{default})",
            style="bold")  # fmt: skip
    name_room, _ = _rooms(out)
    heads = f"{'worse output':{name_room}} {'value ± U (k = 2)':>{VALUE}} {'better':{DIRECTION}}"
    out.print(f"{heads} rank (1 = best)", markup=False)
    # Powers at other limits than the usual one are in the exported table.
    usual = [n for n in c.lines if n.limit_percent in (None, LIMIT_PERCENT)]
    _show_lines(out, usual if everything else _short(usual), everything)
    if everything:
        _show_rest(out, c)
    for note in c.notes if everything else c.warnings:
        flowing(out, f"Note: {note}")
    if not everything:
        flowing(out, "With --all: every quantity, neighbours, left and right, method.")


def _short(lines: Sequence[Standing]) -> list[Standing]:
    """Without what another line says again."""
    on_request = declarations().having(lambda traits: traits.on_request)
    return [line for line in lines if line.metric not in on_request]


def _show_rest(out: Console, c: Comparison) -> None:
    """Similar units, audibility, and the differences by work and between sides."""
    if c.nearest:
        out.print()
        show_nearest(out, c.nearest)
    if c.listening:
        out.print("Audibility", style="bold")
    for sentence in c.listening:
        indented(out, sentence)
    for title, differences in (c.work, c.sides):
        if differences:
            show_differences(title, differences, MOST_DIFFERENCES, out)


def _show_verdicts(out: Console, verdicts: Sequence[Verdict]) -> None:
    """A line a specification: the verdict, the figure, what was promised."""
    out.print("Specifications", style="bold")
    for v in verdicts:
        at = f" at {v.promised_at}" if v.promised_at else ""
        side = f" ({v.output})" if v.output else ""
        shown = f"{quantity(v.value, v.unit, v.uncertainty)}{side}" if v.value is not None else ""
        open_again = v.again_outcome not in (None, v.outcome)
        parts = [
            f"{v.title} {shown}".strip(),
            f"{v.printed}{at}",
            v.explanation if v.outcome not in ("meets", "fails", "inconclusive") else "",
            f"in another session {v.again_outcome}" if open_again else "",
        ]
        flowing(out, ordinary(f"{v.outcome}: {'; '.join(filter(None, parts))}"))


def _show_verdict_table(out: Console, verdicts: Sequence[Verdict]) -> None:
    heads = ("Specification", "Published", "Measured", "Verdict")
    rows = [[ordinary(cell) for cell in _verdict_cells(v)] for v in verdicts]
    show_table(out, [(head, "left") for head in heads], rows, "Specifications")


def _verdict_cells(v: Verdict) -> tuple[str, ...]:
    """The metric, what was promised, what was measured, and the verdict with its reason."""
    value = quantity(v.value, v.unit, v.uncertainty)
    value += f", {v.output}" if value and v.output else ""
    value += f"; {v.again_text}" if v.again_text else ""
    promised = v.printed + (f" at {v.promised_at}" if v.promised_at else "")
    explained = v.outcome in ("measured under other conditions", "not measured")
    why = f": {v.explanation}" if explained and v.explanation else ""
    return v.title, promised, value, f"{v.outcome}{why}"


def show_promises(
    label: str, promises: Sequence[ClassPromise], stream: IO[str] | None = None
) -> None:
    """What was promised of other models, those that can be held against the unit first."""
    out = console(stream)
    flowing(out, f"{label}: what makers promised of others of its class", style="bold")
    heads = [(head, "left") for head in ("Model", "Quantity", "Promised", "Measured", "It would")]
    rows = [[ordinary(cell) for cell in _promise_cells(p)] for p in promises if p.verdict.decided]
    show_table(out, heads, rows, "Held against this unit")
    other = [p for p in promises if not p.verdict.decided]
    if other:
        out.print("Not to be held against it", style="bold")
    for p in other[:MOST_UNDECIDED]:
        _, promised, _, outcome = _verdict_cells(p.verdict)
        flowing(out, ordinary(f"{p.model}: {p.verdict.title} {promised}; {outcome}"))
    if len(other) > MOST_UNDECIDED:
        more = counted(len(other) - MOST_UNDECIDED, "further promise")
        flowing(out, f"And {more}; --format csv has all of them with the reason.")


WOULD = {"meets": "meet", "fails": "fail", "inconclusive": "can't be told"}


def _promise_cells(p: ClassPromise) -> tuple[str, ...]:
    title, promised, value, _ = _verdict_cells(p.verdict)
    return p.model, title, promised, value, WOULD[p.verdict.outcome]


def _show_lines(out: Console, lines: Sequence[Standing], everything: bool) -> None:
    """A line a quantity with its place; all of what stands around it on request."""
    for line in lines:
        for part in _placed_line(line, *_rooms(out)):
            out.print(part, markup=False)
        for text in _around(line) if everything else _note(line):
            indented(out, text)


NAME, VALUE, DIRECTION, PLACE = 31, 22, 6, 18
LONGEST_NAME, LONGEST_PLACE = 60, 40
"""In a terminal that is wide enough."""
DIRECTIONS = {"nearer zero": "near 0", "neither": "-"}


def _rooms(out: Console) -> tuple[int, int]:
    """Characters for the name of a quantity and for its place, in the width there is."""
    spare = max(out.width - WIDTH, 0)
    name = min(NAME + spare, LONGEST_NAME)
    return name, min(PLACE + spare - (name - NAME), LONGEST_PLACE)


def _placed_line(line: Standing, name_room: int, place_room: int) -> list[str]:
    """Name, value, direction and place in columns; what one has too much goes below."""
    import textwrap
    from itertools import zip_longest

    from backbench.statistics.ranks import FEWEST_OTHERS

    value = quantity(line.value, line.unit, line.uncertainty, line.bound)
    value += " (entered)" if line.status == "entered" else ""
    better = DIRECTIONS.get(line.better, line.better)
    name = quantity_name(line.metric, line.title, line.limit_percent, line.point_key)
    few = line.better != "neither" and line.n <= FEWEST_OTHERS
    place = line.place or (
        f"no rank: {counted(line.n - 1, 'other')}" if few else counted(line.n, "unit")
    )
    names, places = textwrap.wrap(ordinary(name), name_room), textwrap.wrap(place, place_room)
    first, *more = zip_longest(names, places, fillvalue="")
    blank = VALUE + DIRECTION + 3
    return [
        f"{first[0]:<{name_room}} {value:>{VALUE}} {better:{DIRECTION}} {first[1]}",
        *(f"{part:<{name_room}}{'':{blank}}{text}".rstrip() for part, text in more),
    ]


def _note(line: Standing) -> list[str]:
    """What must be known of the values: of old records, or out of date."""
    return [f"note: {line.note}"] if line.stale or "entered" in line.note else []


def _around(line: Standing) -> list[str]:
    near = ", ".join(
        f"{unit.unit_key} {quantity(unit.value, line.unit)}{' (entered)' * unit.entered}"
        for unit in line.around
    )
    left = ", ".join(f"{count} {why}" for why, count in line.left_out.items())
    share = ""
    if line.percentile is not None and line.is_placed:
        share = f"{number(round(line.percentile))} % of the others"
    notes = [("better than", share), ("nearest", near), ("left out", left), ("note", line.note)]
    return [f"{what}: {text}" for what, text in notes if text]
