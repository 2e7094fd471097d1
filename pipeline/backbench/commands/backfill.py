"""The command that takes in old records: backfill."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.answers import ask_all, choose, on_terminal
from backbench.commands.common import HERE, INGEST, PARTLY_DONE, DryRun, Home, app, opened
from backbench.commands.next_steps import next_step, word
from backbench.errors import Fault, UserError
from backbench.quantities.counts import counted

if TYPE_CHECKING:
    from collections.abc import Iterable

    from backbench.backfill.column_map import ColumnMap
    from backbench.backfill.map_questions import Question
    from backbench.backfill.parse_records import ParsedCell, SheetContents
    from backbench.backfill.problems import Problem
    from backbench.backfill.proposed_map import Proposal
    from backbench.backfill.spreadsheet import Grid
    from backbench.backfill.unit_decisions import DecidedContents, KnownUnit, UnitDecision
    from backbench.catalogue import Catalogue
    from backbench.ingest.receive import WrittenReview
    from backbench.ingest.run_ingest import Outcome, Refused

BATCH = 50
"""Reviews that are ingested at a time."""
FEW = 3
"""Cells of each column that are shown as they were read."""


@app.command(rich_help_panel=INGEST)
def backfill(
    sheet: Annotated[Path, typer.Argument(help="A CSV, XLSX or ODS file.")],
    column_map: Annotated[Path, typer.Option("--map", help="The column map (.toml).")],
    catalogue: Home = HERE,
    propose: Annotated[
        bool, typer.Option("--propose", help="Write a column map drawn from the headings.")
    ] = False,
    sheet_name: Annotated[
        str | None, typer.Option("--sheet", help="With --propose: the sheet of the workbook.")
    ] = None,
    problems: Annotated[
        Path | None, typer.Option(help="Write everything that was left out to this CSV file.")
    ] = None,
    yes: Annotated[
        bool, typer.Option("--yes", help="Write without asking for confirmation.")
    ] = False,
    dry_run: DryRun = False,
) -> None:
    """Import old figures from a spreadsheet, after showing how each column was read.

    --propose begins: it finds the headings, writes a column map to be corrected, and on a terminal
    prompts for what the sheet doesn't tell. The readings are marked as entered, each with the cell
    that it came from. Run again after correcting the spreadsheet: only reviews with changed cells
    are written again.

    Example: backbench backfill old-amplifiers.xlsx --map old-amplifiers.toml --propose

    Example: backbench backfill old-amplifiers.xlsx --map old-amplifiers.toml -c my-catalogue
    """
    if propose:
        _propose(sheet, column_map, sheet_name, catalogue, dry_run=dry_run)
        return
    _import(sheet, column_map, opened(catalogue), problems, yes=yes, dry_run=dry_run)


def _import(
    sheet: Path, map_file: Path, home: Catalogue, problems: Path | None, *, yes: bool, dry_run: bool
) -> None:
    from backbench.backfill.column_map import read_map
    from backbench.backfill.spreadsheet import read_sheet
    from backbench.backfill.unit_decisions import decided, without_undecided
    from backbench.backfill.written_manifests import manifests

    how = read_map(map_file)
    sheet_read = read_sheet(sheet, how.sheet, how.header_row, how.heading_rows)
    known = _known_units(home, sheet)
    found = decided(sheet_read, how, known)
    if found.open and on_terminal() and not yes:
        how = _decided_by_answers(how, found, map_file, dry_run)
        found = decided(sheet_read, how, known)
    contents = without_undecided(found.contents, found.open, sheet_read.source)
    written, more = manifests(sheet_read, contents, sheet, map_file)
    left_out = [*contents.problems, *more]
    _show(contents, left_out, len(written), problems, {unit.key for unit in known})
    if dry_run or not written:
        raise typer.Exit(PARTLY_DONE if left_out else 0)
    if not yes and not on_terminal():
        typer.echo("Nothing was written yet. Check the values above.")
        again = f"backfill {word(sheet)} --map {word(map_file)} --yes"
        next_step(again, catalogue=home.places.root)
        raise typer.Exit(PARTLY_DONE)
    if not yes and not typer.confirm("Write these reviews?"):
        typer.echo("Nothing was written.")
        return
    outcomes, refused = _ingested(home, list(written.values()))
    changed = sum(not outcome.unchanged for outcome in outcomes)
    typer.echo(f"{counted(changed, 'review')} written, {len(outcomes) - changed} unchanged.")
    for item in refused:
        typer.echo(f"not ingested: {item.error}", err=True)
    _report_vanished(home, set(found.contents.records), sheet, map_file)
    next_step("reviews", "query entered-from-old-records", catalogue=home.places.root)
    if left_out or refused:
        raise typer.Exit(PARTLY_DONE)


# A proposed map -------------------------------------------------------------------------------


def _propose(
    sheet: Path, map_file: Path, sheet_name: str | None, catalogue: Path, *, dry_run: bool
) -> None:
    """Write a map drawn from the sheet; what was answered is written even if the rest is not."""
    from backbench.backfill.map_questions import questions
    from backbench.backfill.map_text import map_text
    from backbench.backfill.proposed_map import propose
    from backbench.storage.atomic_io import write_text_file
    from backbench.storage.catalogue_paths import places

    places(catalogue).bring_into_force()  # headings may name the reviewer's own quantities
    if map_file.exists() and not dry_run:
        fault = Fault(str(map_file), "a file", "no file of that name", "choose another name")
        raise UserError("a column map can't be written", [fault])
    grid, name = _chosen_sheet(sheet, sheet_name)
    proposal = propose(sheet, grid, name)
    _show_proposal(proposal)
    broken_off = on_terminal() and not _answered(questions(proposal))
    if dry_run:
        typer.echo(map_text(proposal))
    else:
        write_text_file(map_file, map_text(proposal))
        still = len(list(questions(proposal)))
        what = f" What is still to be stated is marked in it: {still}." if still else ""
        typer.echo(f"Wrote {map_file}.{what} Check it.")
        next_step(f"backfill {word(sheet)} --map {word(map_file)}", catalogue=catalogue)
    if broken_off:
        raise typer.Exit(130)


def _answered(asked: Iterable[Question]) -> bool:
    """Whether every question was answered; those answered before Ctrl-C count."""
    try:
        ask_all(asked)
    except typer.Abort:
        typer.echo("\nBroken off; what you answered is kept.")
        return False
    return True


def _chosen_sheet(path: Path, name: str | None) -> tuple[Grid, str | None]:
    """The sheet named, or the only one with headings. Raises UserError where several have."""
    from backbench.backfill.proposed_map import headings_of
    from backbench.backfill.spreadsheet import read_grid

    grid = read_grid(path, name)
    if name is not None or not grid.others:
        return grid, name
    first = grid.source.removeprefix(f"{path.name}, ")
    grids = {first: grid, **{other: read_grid(path, other) for other in grid.others}}
    names = [each for each in grids if headings_of(grids[each]) is not None]
    if len(names) > 1 and on_terminal():
        chosen = choose("Several sheets have headings. Which one?", tuple(names))
    elif len(names) > 1:
        fault = Fault(str(path), f"headings in several sheets: {', '.join(names)}", "one sheet",
                      "choose it with --sheet")  # fmt: skip
        raise UserError("a column map can't be proposed", [fault])
    else:
        chosen = names[0] if names else first
    return grids[chosen], chosen


def _show_proposal(proposal: Proposal) -> None:
    rows = f"row {proposal.header_row}"
    if proposal.heading_rows == 2:
        rows = f"rows {proposal.header_row} and {proposal.header_row + 1}"
    typer.echo(f"{proposal.source}: headings in {rows}.")
    for name, fact in proposal.facts.items():
        words = ", ".join(f"{word!r} is {meaning!r}" for word, meaning in fact.words.items())
        typer.echo(f"  {fact.column}: {_fact_in_words(name)}"
                   f"{f' ({words})' if words else ''}")  # fmt: skip
    for reading in proposal.readings:
        typer.echo(f"  {reading.column}: {reading.in_words()}")
    if proposal.unused:
        typer.echo(f"  not used: {', '.join(proposal.unused)}")


def _fact_in_words(name: str) -> str:
    group, fact = name.split(".")
    if fact == "made":
        return "the unit's year of make"
    return f"the {group}'s {fact.removesuffix('_w').removesuffix('_hz').replace('_', ' ')}"


# Decisions on units ---------------------------------------------------------------------------


def _known_units(home: Catalogue, sheet: Path) -> list[KnownUnit]:
    """The catalogue's units, but for those that only this sheet has brought; none before any."""
    from backbench.backfill.unit_decisions import KnownUnit

    receipts = home.places.ledger.newest()
    if not receipts:
        return []
    source = str(sheet.resolve())
    own = {key for key, receipt in receipts.items() if receipt.folder == source}
    rows = home.frame("SELECT unit_key, maker, model, serial, review_key FROM appearance "
                      "ORDER BY review_key, position")  # fmt: skip
    units = {str(row[0]): KnownUnit(*row[:4]) for row in rows.iter_rows() if str(row[4]) not in own}
    return list(units.values())


def _decided_by_answers(
    how: ColumnMap, found: DecidedContents, map_file: Path, dry_run: bool
) -> ColumnMap:
    """The map with what was answered, which its file keeps."""
    from backbench.backfill.unit_decisions import with_decision
    from backbench.storage.atomic_io import write_text_file

    for decision in found.open:
        key = _chosen_key(decision)
        how = how.model_copy(update={"units": {**how.units, decision.unit.label: key}})
        if not dry_run:
            text = map_file.read_text(encoding="utf-8")
            text = with_decision(text, decision.unit.label, key, str(map_file))
            write_text_file(map_file, text)
    return how


def _chosen_key(decision: UnitDecision) -> str:
    """The key of a unit, by choosing among those that it may be."""
    named = decision.unit
    rows = f"row{'s' if len(named.rows) > 1 else ''} {', '.join(map(str, named.rows))}"
    answers = {f"the same as {known}": known.key for known in decision.candidates}
    answers[f"another sample or model, with the new key {decision.new_key}"] = decision.new_key
    chosen = choose(
        f"{named.label} ({rows}) may be in the catalogue already. It is:", tuple(answers)
    )
    return answers[chosen]


# The import -----------------------------------------------------------------------------------


def _ingested(home: Catalogue, reviews: list[WrittenReview]) -> tuple[list[Outcome], list[Refused]]:
    """Ingested in batches, so that progress can be shown: there is nothing to measure."""
    from backbench.reports.progress_bars import watched

    outcomes: list[Outcome] = []
    refused: list[Refused] = []
    with watched("ingesting reviews") as watch:
        watch.started(len(reviews))
        for first in range(0, len(reviews), BATCH):
            batch = reviews[first : first + BATCH]
            done, left = home.ingest(batch, history=False, processes=1)
            outcomes += done
            refused += left
            watch.progress(len(batch))
    return outcomes, refused


def _show(
    contents: SheetContents, left_out: list[Problem], count: int, to: Path | None, known: set[str]
) -> None:
    """A few cells of each column as read, the units, then everything that was left out."""
    _show_columns([*contents.days, *contents.parsed])
    _show_units(contents, known)
    for row in contents.others:
        typer.echo(f"not read: {row}")
    for problem in left_out:
        typer.echo(f"left out: {problem}", err=True)
    if to is not None:
        _write_problems(left_out, to)
    typer.echo(
        f"\n{counted(count, 'review')}, {counted(len(contents.parsed), 'figure')}; "
        f"{counted(len(left_out), 'problem')} left out."
    )


def _show_columns(cells: list[ParsedCell]) -> None:
    shown: dict[str, list[str]] = {}
    for item in cells:
        shown.setdefault(item.column, []).append(f"{item.text!r} read as {item.value}")
    for column, lines in shown.items():
        distinct = list(dict.fromkeys(lines))
        typer.echo(f"{column}: {'; '.join(distinct[:FEW])}  ({counted(len(lines), 'cell')})")


def _show_units(contents: SheetContents, known: set[str]) -> None:
    """How many units there are, which of them the catalogue holds, and which stand in two rows."""
    units = {key for record in contents.records.values() for key in record.units}
    held = sorted(units & known)
    also = f", of which the catalogue holds {', '.join(held)}" if held else ""
    typer.echo(f"{counted(len(units), 'unit')}{also}")
    for named in contents.units.values():
        if len(named.rows) > 1:
            rows = ", ".join(map(str, named.rows))
            typer.echo(f"{named.label} in rows {rows}: taken for one unit, {named.key}; a column "
                       "of keys or serial numbers would tell samples apart")  # fmt: skip


def _write_problems(left_out: list[Problem], to: Path) -> None:
    import polars as pl

    from backbench.export.csv_escaping import inert
    from backbench.storage.atomic_io import write_text_file

    columns = ("place", "found", "reason", "suggestion")
    rows = [[getattr(problem, name) for name in columns] for problem in left_out]
    frame = pl.DataFrame(rows, schema=dict.fromkeys(columns, pl.String), orient="row")
    write_text_file(to, inert(frame).write_csv())


def _report_vanished(home: Catalogue, present: set[str], sheet: Path, map_file: Path) -> None:
    """Reviews that an earlier run wrote from this sheet by this map, and that it no longer has."""
    before = {
        key for key, receipt in home.places.ledger.newest().items()
        if receipt.folder == str(sheet.resolve()) and receipt.withdrawn is None
        and map_file.name in receipt.files
    }  # fmt: skip
    for key in sorted(before - present):
        typer.echo(
            f"{key} is no longer in the spreadsheet but stays in the catalogue; "
            f"remove it with `backbench withdraw {key}`",
            err=True,
        )
