"""A column map proposed from a sheet's headings and cells, for somebody to look at.

What neither tells is asked for or left as a comment: no fact is assumed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from backbench.backfill.column_map import EMPTY_TEXTS, NEEDED
from backbench.backfill.compound_cells import UNIT_OF_CONDITION
from backbench.backfill.days import forms_of
from backbench.backfill.heading_rows import found_headings
from backbench.backfill.heading_words import (
    HeadingOfFigures,
    fact_named,
    figures_named,
    is_uncertainty,
    without_uncertainty,
)
from backbench.backfill.other_rows import other_row
from backbench.backfill.spreadsheet import Cell, Grid, Row, heading_text, sheet_under
from backbench.documents.unit_facts import also_called, choices
from backbench.errors import Fault, UserError
from backbench.ingest.impossible_signs import sign_faults
from backbench.metrics.registry import registry
from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.numerals import read_number
from backbench.quantities.writing import in_text


@dataclass
class ProposedFact:
    """Where a fact comes from; unknown: words of its column without a meaning yet, and how many."""

    column: str | None = None
    always: str | float | None = None
    words: dict[str, str] = field(default_factory=dict)
    unknown: dict[str, int] = field(default_factory=dict)


@dataclass
class ProposedReading:
    """A column of figures. bare: its first number without a unit, where it needs one.

    spread_column: its uncertainties. coverage: their factor, once it is stated.
    """

    column: str
    named: HeadingOfFigures
    negate: bool = False
    bare: Cell | None = None
    spread_column: str | None = None
    coverage: float | None = None

    def in_words(self) -> str:
        """What the column was taken for: the metric, its conditions, its output."""
        named = self.named
        at = ", ".join(in_text(v, UNIT_OF_CONDITION[name], 6) for name, v in named.at.items())
        parts = [
            registry().metrics[named.metric].title, f"at {at}" if at else "",
            f"in {named.unit}" if named.unit else "",
            f"of the {named.output} output" if named.output != "both" else "",
            "with the sign turned" if self.negate else "",
            f"with the uncertainties of {self.spread_column!r}" if self.spread_column else "",
        ]  # fmt: skip
        return " ".join(part for part in parts if part)


@dataclass
class Proposal:
    """dates: settled ways of writing days. unsettled: a day of each way that may be two days, with
    the forms that it may have. unused: headings that name nothing that is known here."""

    source: str
    sheet: str | None
    header_row: int
    heading_rows: int
    dates: list[str] = field(default_factory=list)
    unsettled: list[tuple[Cell, list[str]]] = field(default_factory=list)
    facts: dict[str, ProposedFact] = field(default_factory=dict)
    readings: list[ProposedReading] = field(default_factory=list)
    unused: list[str] = field(default_factory=list)

    @property
    def missing(self) -> list[str]:
        """Facts that every row needs and no column tells."""
        return [name for name in NEEDED if name not in self.facts]


def headings_of(grid: Grid) -> tuple[int, int] | None:
    """The row of a grid's headings, from 1, and how many rows they take; None without any."""
    return found_headings([[heading_text(cell) for cell in row] for row in grid.cells])


def propose(path: Path, grid: Grid, sheet: str | None) -> Proposal:
    """A map from a sheet. Raises UserError where it has no headings that are known."""
    found = headings_of(grid)
    if found is None:
        fault = Fault(
            grid.source, "no row of headings",
            "one among the first rows, with names such as Maker, Model and Date",
            "name the columns, or write a map by hand",
        )  # fmt: skip
        raise UserError("a column map can't be proposed", [fault])
    under = sheet_under(path, grid, *found)
    proposal = Proposal(grid.source, sheet, *found)
    naming = [
        h for h in under.headings if fact_named(h) in {"unit.maker", "unit.model", "review.date"}
    ]
    rows = [row for row in under.rows if other_row(row, under.headings, naming) is None]
    for heading in under.headings:
        _propose_column(proposal, heading, _cells(rows, heading))
    return proposal


def _cells(rows: Iterable[Row], heading: str) -> list[Cell]:
    cells = [row.cells[heading] for row in rows if heading in row.cells]
    return [cell for cell in cells if cell.text and cell.text not in EMPTY_TEXTS]


def _propose_column(proposal: Proposal, heading: str, cells: list[Cell]) -> None:
    if proposal.readings and is_uncertainty(heading):
        of = _uncertain_reading(proposal.readings, heading)
        if of is None:
            proposal.unused.append(heading)
        else:
            of.spread_column = heading
        return
    fact = fact_named(heading)
    named = figures_named(heading) if fact is None else None
    if named is not None:
        proposal.readings.append(_reading(heading, named, cells))
    elif fact is None or fact in proposal.facts:
        proposal.unused.append(heading)
    else:
        proposal.facts[fact] = _fact(fact, heading, cells)
        if fact == "review.date":
            _settle_days(proposal, cells)


def _uncertain_reading(readings: Sequence[ProposedReading], heading: str) -> ProposedReading | None:
    """Which column a column of uncertainties belongs to: the one that its heading names, else the
    one before it; None where it names one that isn't there."""
    named = figures_named(without_uncertainty(heading))
    if named is None:
        return readings[-1]
    alike = [
        one for one in readings
        if one.named.metric == named.metric and named.at.items() <= one.named.at.items()
        and one.spread_column is None
    ]  # fmt: skip
    return alike[0] if alike else None


def _settle_days(proposal: Proposal, cells: list[Cell]) -> None:
    texts = [cell for cell in cells if isinstance(cell.content, str)]
    for forms in forms_of([cell.text for cell in texts]):
        if len(forms) == 1:
            proposal.dates.append(forms[0])
        else:
            example = next(cell for cell in texts if forms_of([cell.text])[:1] == [forms])
            proposal.unsettled.append((example, forms))


def _fact(fact: str, heading: str, cells: list[Cell]) -> ProposedFact:
    name = fact.split(".")[1]
    proposed = ProposedFact(heading)
    for word, times in Counter(cell.text for cell in cells).items():
        if name not in choices() or word.lower() in choices()[name]:
            continue
        meaning = _meaning(name, word)
        if meaning is None:
            proposed.unknown[word] = times
        else:
            proposed.words[word] = meaning
    return proposed


def _meaning(name: str, word: str) -> str | None:
    plain = word.lower().strip(".")
    return next((m for m, words in also_called()[name].items() if plain in words), None)


def _reading(heading: str, named: HeadingOfFigures, cells: list[Cell]) -> ProposedReading:
    metric = registry().metrics[named.metric]
    numbers = [(cell, number) for cell in cells if (number := _bare(cell)) is not None]
    negative = [number for _, number in numbers if number < 0] or [
        -1.0 for cell in cells if cell.text[:1] in "-−"
    ]
    signless = any(sign_faults(-1.0, metric, "")) or metric.better == "higher"
    negate = bool(cells) and signless and len(negative) == len(cells)
    needs_unit = numbers and named.unit is None and metric.unit != "1"
    return ProposedReading(heading, named, negate, numbers[0][0] if needs_unit else None)


def _bare(cell: Cell) -> float | None:
    try:
        return read_number(cell.text, "," if "," in cell.text else ".")
    except UnreadableQuantity:
        return None
