"""Commands that keep a catalogue safe: verify, backup, restore."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.common import HERE, NOT_ALL_WELL, Home, app, opened

if TYPE_CHECKING:
    from backbench.maintenance.backup import Copied
    from backbench.maintenance.verify import Report

FEW = 20
"""Orphans that are listed one by one."""


@app.command()
def verify(catalogue: Home = HERE) -> None:
    """Hash every original again and trace every reading to its captures; change nothing.

    Example: backbench verify -c my-catalogue
    """
    from backbench.maintenance.verify import verify as verified
    from backbench.reports.progress_bars import bars

    home = opened(catalogue)
    with bars() as shown:
        task = shown.add_task("hashing originals", total=None)
        report = verified(home.places, lambda n: shown.advance(task, n))
    _tell(report)
    if report.faults:
        raise typer.Exit(1)


@app.command()
def backup(
    folder: Annotated[Path, typer.Argument(help="A new or empty folder, or an earlier backup.")],
    catalogue: Home = HERE,
) -> None:
    """Bring a folder to the catalogue's state, verified; the catalogue may be in use.

    Example: backbench backup /media/disk/backbench -c my-catalogue
    """
    from backbench.maintenance.backup import backup as backed_up
    from backbench.reports.progress_bars import bars

    home = opened(catalogue)
    with bars() as shown:
        task = shown.add_task("copying originals", total=None)
        copied = backed_up(home.places, folder, lambda n: shown.advance(task, n))
    _tell_copied(copied, folder)


@app.command()
def restore(
    source: Annotated[Path, typer.Argument(help="A backup.")],
    folder: Annotated[
        Path, typer.Argument(help="A new or empty folder, or a catalogue to be mended.")
    ],
) -> None:
    """Make a catalogue from a backup, or bring back the originals that a catalogue has lost.

    Example: backbench restore /media/disk/backbench my-catalogue
    """
    from backbench.maintenance.backup import restore as restored
    from backbench.reports.progress_bars import bars

    home = opened(source)
    with bars() as shown:
        task = shown.add_task("copying originals", total=None)
        copied = restored(home.places, folder, lambda n: shown.advance(task, n))
    _tell_copied(copied, folder)


def _tell(report: Report) -> None:
    """Faults on standard error; the rest as lines."""
    for fault in report.faults:
        typer.echo(str(fault), err=True)
    for gap in report.gaps:
        typer.echo(f"gap: {gap}; `backbench recompute` loads it")
    for orphan in report.orphans[:FEW]:
        typer.echo(f"orphan: {orphan}, an original that no receipt names")
    if len(report.orphans) > FEW:
        typer.echo(f"{len(report.orphans) - FEW} more orphans")
    typer.echo(
        f"{report.originals} originals ({report.bytes / 1e6:.1f} MB), {report.receipts} receipts, "
        f"{report.readings} readings: {len(report.faults)} faults, {len(report.gaps)} gaps, "
        f"{len(report.orphans)} orphans"
    )


def _tell_copied(copied: Copied, folder: Path) -> None:
    for fault in copied.faults:
        typer.echo(str(fault), err=True)
    typer.echo(
        f"{folder}: {copied.copied} originals copied ({copied.bytes / 1e6:.1f} MB), "
        f"{copied.held} held already; all read back and verified"
        if not copied.faults
        else f"{folder}: {copied.copied} originals copied, {copied.held} held already; "
        f"{len(copied.faults)} faults"
    )
    if copied.faults:
        raise typer.Exit(NOT_ALL_WELL)
