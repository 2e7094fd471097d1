"""The command that takes in old records: backfill."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.common import HERE, INGEST, PARTLY_DONE, DryRun, Home, app, opened
from backbench.quantities.counts import counted

if TYPE_CHECKING:
    from backbench.backfill.parse_records import SheetContents
    from backbench.backfill.problems import Problem
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
    problems: Annotated[
        Path | None, typer.Option(help="Write everything that was left out to this CSV file.")
    ] = None,
    yes: Annotated[
        bool, typer.Option("--yes", help="Write without asking for confirmation.")
    ] = False,
    dry_run: DryRun = False,
) -> None:
    """Import old figures from a spreadsheet, after showing how each column was read.

    The readings are marked as entered, each with the cell that it came from. Run again after
    correcting the spreadsheet: only reviews with changed cells are written again.

    Example: backbench backfill old-amplifiers.xlsx --map old-amplifiers.toml -c my-catalogue
    """
    from backbench.backfill.column_map import read_map
    from backbench.backfill.parse_records import parse_sheet
    from backbench.backfill.spreadsheet import read_sheet
    from backbench.backfill.written_manifests import manifests

    home = opened(catalogue)
    how = read_map(column_map)
    sheet_read = read_sheet(sheet, how.sheet, how.header_row)
    contents = parse_sheet(sheet_read, how)
    written, more = manifests(sheet_read, contents, sheet, column_map)
    left_out = [*contents.problems, *more]
    _show(contents, left_out, len(written), problems)
    if dry_run or not written or not _confirmed(yes):
        raise typer.Exit(PARTLY_DONE if left_out and dry_run else 0)
    outcomes, refused = _ingested(home, list(written.values()))
    changed = sum(not outcome.unchanged for outcome in outcomes)
    typer.echo(f"{counted(changed, 'review')} written, {len(outcomes) - changed} unchanged.")
    for item in refused:
        typer.echo(f"not ingested: {item.error}", err=True)
    _report_vanished(home, set(written), sheet)
    if left_out or refused:
        raise typer.Exit(PARTLY_DONE)


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


def _show(contents: SheetContents, left_out: list[Problem], count: int, to: Path | None) -> None:
    """A few cells of each column as read, then everything that was left out."""
    shown: dict[str, list[str]] = {}
    for item in contents.parsed:
        shown.setdefault(item.column, []).append(f"{item.text!r} read as {item.value}")
    for column, lines in shown.items():
        distinct = list(dict.fromkeys(lines))
        typer.echo(f"{column}: {'; '.join(distinct[:FEW])}  ({counted(len(lines), 'cell')})")
    for problem in left_out:
        typer.echo(f"left out: {problem.place}: {problem.found!r}: {problem.reason}", err=True)
    if to is not None:
        _write_problems(left_out, to)
    typer.echo(
        f"\n{counted(count, 'review')}, {counted(len(contents.parsed), 'figure')}; "
        f"{counted(len(left_out), 'problem')} left out."
    )


def _write_problems(left_out: list[Problem], to: Path) -> None:
    import csv

    with to.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow(["place", "found", "reason"])
        writer.writerows([one.place, one.found, one.reason] for one in left_out)


def _confirmed(yes: bool) -> bool:
    import sys

    if yes:
        return True
    if not sys.stdin.isatty():
        typer.echo(
            "Nothing was written. Check the values above, then run the command again with --yes."
        )
        return False
    return typer.confirm("Write these reviews?")


def _report_vanished(home: Catalogue, written: set[str], sheet: Path) -> None:
    """Reviews that an earlier run wrote from this sheet and that it no longer has."""
    before = {
        key for key, receipt in home.places.ledger.newest().items()
        if receipt.folder == str(sheet.resolve()) and receipt.withdrawn is None
    }  # fmt: skip
    for key in sorted(before - written):
        typer.echo(
            f"{key} is no longer in the spreadsheet but stays in the catalogue; "
            f"remove it with `backbench withdraw {key}`",
            err=True,
        )
