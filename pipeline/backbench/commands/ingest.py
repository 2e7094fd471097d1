"""Commands that change a catalogue: init, ingest, recompute, rebuild."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.answers import on_terminal
from backbench.commands.common import (
    HERE,
    INGEST,
    MAINTENANCE,
    PARTLY_DONE,
    SET_UP,
    Direct,
    Home,
    Processes,
    app,
    opened,
)
from backbench.commands.next_steps import next_step, offer_recompute, word
from backbench.quantities.counts import counted

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from backbench.catalogue import Catalogue
    from backbench.documents.settings import Settings
    from backbench.ingest.run_ingest import Outcome, Refused


@app.command(rich_help_panel=SET_UP)
def init(folder: Annotated[Path, typer.Argument(help="A new or empty folder.")]) -> None:
    """Create a new catalogue. On a terminal you are asked about your bench.

    Example: backbench init my-catalogue
    """
    from backbench.catalogue import Catalogue

    Catalogue.create(folder)
    typer.echo(f"Created {folder}.")
    if on_terminal() and typer.confirm("Describe your bench now?", default=True):
        from backbench.bench_day.bench_description import BenchDescription
        from backbench.commands.bench import add_bench, completed

        add_bench(folder, completed(BenchDescription(), folder))
        return
    next_step("bench", catalogue=folder)


@app.command(rich_help_panel=INGEST)
def ingest(
    folders: Annotated[list[Path], typer.Argument(help="Review folders, each with a review.toml.")],
    catalogue: Home = HERE,
    processes: Processes = None,
    direct: Direct = False,
) -> None:
    """Measure the captures of review folders and add the reviews to the catalogue.

    Example: backbench ingest reviews/2024-05-heron -c my-catalogue
    """
    from backbench.documents.file_names import MANIFEST_NAME
    from backbench.ingest.early_start import worker_begun

    named = [path.parent if path.name == MANIFEST_NAME else path for path in folders]
    with worker_begun(catalogue, named) if processes != 1 else nullcontext():
        home = opened(catalogue)
        outcomes, refused = _ingested(home, named, processes, direct=direct)
    if outcomes:
        offer_recompute(home)
    _report(outcomes, refused, catalogue)


def _ingested(
    home: Catalogue, folders: Sequence[Path], processes: int | None, *, direct: bool
) -> tuple[list[Outcome], list[Refused]]:
    """Take the folders in, with what is to be said beforehand and a bar meanwhile."""
    if not direct:
        home.begin_server(folders)
    from backbench.reports.progress_bars import watched

    for line in _beforehand(folders, home.settings):
        typer.echo(f"warning: {line}", err=True)
    with watched() as watch:
        return home.ingest(
            folders, history=not direct, processes=processes,
            started=watch.started, progress=watch.progress,
        )  # fmt: skip


@app.command(rich_help_panel=MAINTENANCE)
def recompute(catalogue: Home = HERE, processes: Processes = None, direct: Direct = False) -> None:
    """Measure again what is out of date after a change of methods or calibrations.

    Example: backbench recompute -c my-catalogue
    """
    from backbench.reports.progress_bars import watched

    with watched() as watch:
        outcomes, refused = opened(catalogue).recompute(
            history=not direct, processes=processes,
            started=watch.started, progress=watch.progress,
        )  # fmt: skip
    _report(outcomes, refused, catalogue)


@app.command(rich_help_panel=MAINTENANCE)
def rebuild(
    catalogue: Home = HERE,
    processes: Processes = None,
    accept_losses: Annotated[
        bool,
        typer.Option(
            "--accept-losses",
            help="Replace the database although reviews that can't be rebuilt, and captures whose "
            "originals are missing or damaged, then have no readings.",
        ),
    ] = False,
) -> None:
    """Build the database again from the vault, the ledger and the settings.

    The present database is kept where an original is missing or damaged, or a review can't be
    rebuilt.

    Example: backbench rebuild -c my-catalogue
    """
    from backbench.ingest.run_ingest import lost_captures
    from backbench.reports.progress_bars import watched

    with watched() as watch:
        outcomes, refused = opened(catalogue).rebuild(
            processes=processes, progress=watch.progress, accept_losses=accept_losses
        )
    _refusals(refused)
    lost = lost_captures(outcomes)
    for review, file, reason in lost:
        typer.echo(f"{review}: {file}: {reason}", err=True)
    if (lost or refused) and not accept_losses:
        typer.echo(f"The present database is kept: {_fewer(len(refused), len(lost))}", err=True)
        raise typer.Exit(PARTLY_DONE)
    typer.echo(f"Rebuilt the database from {counted(len(outcomes), 'review')}.")
    next_step("verify", catalogue=catalogue)
    if lost or refused:
        raise typer.Exit(PARTLY_DONE)


def _fewer(reviews: int, originals: int) -> str:
    """Why a new database would hold less, and what to do."""
    parts = [
        counted(number, what)
        for number, what in ((reviews, "review"), (originals, "original"))
        if number
    ]
    return (
        f"without {' and '.join(parts)} a new one would have fewer readings. Restore from a backup "
        "and run the command again, or replace it with --accept-losses."
    )


def _beforehand(folders: Sequence[Path], settings: Settings) -> Iterator[str]:
    """A line for each calibration past its time.

    A folder that can't be read is reported later.
    """
    from backbench.bench_day.measuring_chain import expired_for_captures
    from backbench.documents.accepted_manifest import accepted_manifest
    from backbench.documents.file_names import MANIFEST_NAME
    from backbench.documents.validation import read_bytes
    from backbench.errors import UserError

    for folder in folders:
        try:
            manifest = accepted_manifest(read_bytes(folder / MANIFEST_NAME, "the review"))
        except UserError:
            continue
        for line in expired_for_captures(manifest, settings):
            yield f"{manifest.review.key}: {line}"


def _report(outcomes: Sequence[Outcome], refused: Sequence[Refused], home: Path) -> None:
    """How each review ended, and why what isn't whole. Exit code 3 where not all is whole."""
    from backbench.reports.outcome_lines import fault_lines

    for outcome in outcomes:
        done = (
            "unchanged" if outcome.unchanged
            else f"{outcome.computed} measured now, {outcome.kept} unchanged"
        )  # fmt: skip
        typer.echo(f"{outcome.review}: {outcome.ended.counts()} ({done}){_left_open(outcome)}")
        for line in fault_lines(outcome.ended):
            typer.echo(f"  {line}", err=True)
    _refusals(refused)
    _next(outcomes, refused, home)
    if refused or not all(outcome.ended.whole for outcome in outcomes):
        raise typer.Exit(PARTLY_DONE if outcomes else 1)


def _left_open(outcome: Outcome) -> str:
    """How many figures across captures lack something, for the end of a review's line."""
    number = len(outcome.ended.not_worked_out())
    return f"; {counted(number, 'figure')} across captures not worked out" if number else ""


def _next(outcomes: Sequence[Outcome], refused: Sequence[Refused], home: Path) -> None:
    """What to do now, where one review was measured or several were, or none could be."""
    changed = [outcome for outcome in outcomes if not outcome.unchanged] or outcomes
    if len(changed) == 1:
        review = word(changed[0].review)
        next_step(f"show {review}", f"sheet {review}", catalogue=home)
    elif changed:
        next_step("reviews", "publish", catalogue=home)
    folders = [item.source for item in refused if Path(item.source).is_dir()]
    for folder in folders:
        next_step(f"check {word(folder)}", catalogue=home, err=True)


def _refusals(refused: Sequence[Refused]) -> None:
    for item in refused:
        typer.echo(f"{item.source} was not ingested: {item.error}", err=True)
