"""The command that takes in old records: backfill."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.common import HERE, NOT_ALL_WELL, DryRun, Home, app, opened

if TYPE_CHECKING:
    from backbench.backfill.parse_records import Problem, Reading
    from backbench.catalogue import Catalogue
    from backbench.ingest.receive import WrittenReview
    from backbench.ingest.run_ingest import Outcome, Refused

BATCH = 50
"""Reviews that are taken in at a time."""
FEW = 3
"""Cells of each column that are shown as they were understood."""


@app.command()
def backfill(
    sheet: Annotated[Path, typer.Argument(help="A CSV, XLSX or ODS file.")],
    column_map: Annotated[Path, typer.Option("--map", help="The saved column map (.toml).")],
    catalogue: Home = HERE,
    problems: Annotated[
        Path | None, typer.Option(help="A CSV file for everything that was left out.")
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Write without asking.")] = False,
    dry_run: DryRun = False,
) -> None:
    """Take in old figures from a spreadsheet; shows what it understood before it writes.

    The readings are marked as entered, each with the cell that it came from. Run again after
    correcting the sheet: only reviews with changed cells are written anew.

    Example: backbench backfill old-amplifiers.xlsx --map old-amplifiers.toml -c my-catalogue
    """
    from backbench.backfill.column_map import read_map
    from backbench.backfill.parse_records import understand
    from backbench.backfill.spreadsheet import read_sheet
    from backbench.backfill.written_manifests import manifests

    home = opened(catalogue)
    how = read_map(column_map)
    found = read_sheet(sheet, how.sheet, how.header_row)
    reading = understand(found, how)
    written, more = manifests(found, reading, sheet, column_map)
    left_out = [*reading.problems, *more]
    _show(reading, left_out, len(written), problems)
    if dry_run or not written or not _agreed(yes):
        raise typer.Exit(NOT_ALL_WELL if left_out and dry_run else 0)
    outcomes, refused = _taken_in(home, list(written.values()))
    changed = sum(not outcome.unchanged for outcome in outcomes)
    typer.echo(f"{changed} reviews written, {len(outcomes) - changed} unchanged.")
    for item in refused:
        typer.echo(f"not taken in: {item.error}", err=True)
    _tell_vanished(home, set(written), sheet)
    if left_out or refused:
        raise typer.Exit(NOT_ALL_WELL)


def _taken_in(home: Catalogue, reviews: list[WrittenReview]) -> tuple[list[Outcome], list[Refused]]:
    """Ingested in batches, so that the progress can be told: there is nothing to measure."""
    from backbench.reports.progress_bars import watched

    outcomes: list[Outcome] = []
    refused: list[Refused] = []
    with watched("taking in reviews") as watch:
        watch.started(len(reviews))
        for first in range(0, len(reviews), BATCH):
            batch = reviews[first : first + BATCH]
            done, left = home.ingest(batch, history=False, processes=1)
            outcomes += done
            refused += left
            watch.progress(len(batch))
    return outcomes, refused


def _show(reading: Reading, left_out: list[Problem], count: int, to: Path | None) -> None:
    """A few cells of each column as understood, then everything that was left out."""
    shown: dict[str, list[str]] = {}
    for item in reading.understood:
        shown.setdefault(item.column, []).append(f"{item.text!r} is {item.value}")
    for column, lines in shown.items():
        distinct = list(dict.fromkeys(lines))
        typer.echo(f"{column}: {'; '.join(distinct[:FEW])}  ({len(lines)} cells)")
    for problem in left_out:
        typer.echo(f"left out: {problem.place}: {problem.found!r}: {problem.reason}", err=True)
    if to is not None:
        _write_problems(left_out, to)
    typer.echo(f"\n{count} reviews, {len(reading.understood)} figures; {len(left_out)} left out.")


def _write_problems(left_out: list[Problem], to: Path) -> None:
    import csv

    with to.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow(["place", "found", "reason"])
        writer.writerows([one.place, one.found, one.reason] for one in left_out)


def _agreed(yes: bool) -> bool:
    import sys

    if yes:
        return True
    if not sys.stdin.isatty():
        typer.echo("Nothing was written: look it over, and run it again with --yes.")
        return False
    return typer.confirm("Write them?")


def _tell_vanished(home: Catalogue, written: set[str], sheet: Path) -> None:
    """Reviews that an earlier run wrote from this sheet and that it no longer has."""
    before = {
        key for key, receipt in home.places.ledger.newest().items()
        if receipt.folder == str(sheet.resolve()) and receipt.withdrawn is None
    }  # fmt: skip
    for key in sorted(before - written):
        typer.echo(
            f"{key} is no longer in the sheet; it stays (backbench withdraw {key})", err=True
        )
