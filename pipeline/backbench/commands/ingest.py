"""Commands that change a catalogue: init, ingest, recompute, rebuild."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.common import HERE, NOT_ALL_WELL, Direct, Home, Processes, app, opened

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from backbench.documents.settings import Settings
    from backbench.ingest.run_ingest import Outcome, Refused


@app.command()
def init(folder: Annotated[Path, typer.Argument(help="A new or empty folder.")]) -> None:
    """Make a catalogue. Example: backbench init my-catalogue"""
    from backbench.catalogue import Catalogue

    Catalogue.create(folder)
    typer.echo(
        f"Made {folder}. Next: describe your bench and its calibration in {folder}/backbench.toml."
    )


@app.command()
def ingest(
    folders: Annotated[list[Path], typer.Argument(help="Review folders, each with a review.toml.")],
    catalogue: Home = HERE,
    processes: Processes = None,
    direct: Direct = False,
) -> None:
    """Take in review folders. Example: backbench ingest reviews/2024-05-heron -c my-catalogue"""
    from backbench.documents.manifest import MANIFEST_NAME
    from backbench.reports.progress_bars import watched

    named = [path.parent if path.name == MANIFEST_NAME else path for path in folders]
    home = opened(catalogue)
    for line in _old_calibrations(named, home.settings):
        typer.echo(f"warning: {line}", err=True)
    with watched() as watch:
        outcomes, refused = home.ingest(
            named, history=not direct, processes=processes,
            started=watch.started, progress=watch.progress,
        )  # fmt: skip
    _tell(outcomes, refused)


@app.command()
def recompute(catalogue: Home = HERE, processes: Processes = None, direct: Direct = False) -> None:
    """Bring every review up to the methods and calibrations in force.

    Example: backbench recompute -c my-catalogue
    """
    from backbench.reports.progress_bars import watched

    with watched() as watch:
        outcomes, refused = opened(catalogue).recompute(
            history=not direct, processes=processes,
            started=watch.started, progress=watch.progress,
        )  # fmt: skip
    _tell(outcomes, refused)


@app.command()
def rebuild(catalogue: Home = HERE, processes: Processes = None) -> None:
    """Make the database anew from vault, ledger and settings.

    Example: backbench rebuild -c my-catalogue
    """
    from backbench.reports.progress_bars import watched

    with watched() as watch:
        number, refused = opened(catalogue).rebuild(processes=processes, progress=watch.progress)
    _refusals(refused)
    if refused:
        typer.echo("nothing was changed: mend these first", err=True)
        raise typer.Exit(1)
    typer.echo(f"Rebuilt the database from {number} reviews.")


def _old_calibrations(folders: Sequence[Path], settings: Settings) -> Iterator[str]:
    """A line for each calibration past its time; a folder that can't be read is told of later."""
    from backbench.bench_day.measuring_chain import expired_for_captures
    from backbench.documents.manifest import MANIFEST_NAME, read_manifest
    from backbench.documents.validation import read_bytes
    from backbench.errors import UserError

    for folder in folders:
        try:
            manifest = read_manifest(read_bytes(folder / MANIFEST_NAME, "the review"))
        except UserError:
            continue
        for line in expired_for_captures(manifest, settings):
            yield f"{manifest.review.key}: {line}"


def _tell(outcomes: Sequence[Outcome], refused: Sequence[Refused]) -> None:
    """What an ingest did, a line a review; faults below. Exit code 3 where not all went well."""
    for outcome in outcomes:
        if outcome.unchanged:
            typer.echo(f"{outcome.review}: nothing changed, nothing computed")
            continue
        told = f"{outcome.review}: {outcome.computed} captures computed, {outcome.kept} kept"
        typer.echo(told + (f", {len(outcome.failed)} failed" if outcome.failed else ""))
    for outcome in outcomes:
        for file, reason in outcome.failed:
            typer.echo(f"{outcome.review}: {file} failed: {reason}", err=True)
    _refusals(refused)
    if refused or any(outcome.failed for outcome in outcomes):
        raise typer.Exit(NOT_ALL_WELL if outcomes else 1)


def _refusals(refused: Sequence[Refused]) -> None:
    for item in refused:
        typer.echo(f"{item.source} was not taken in: {item.error}", err=True)
