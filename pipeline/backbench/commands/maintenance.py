"""Commands that keep a catalogue safe: verify, backup, restore."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.common import (
    HERE,
    MAINTENANCE,
    PARTLY_DONE,
    Format,
    Home,
    Wide,
    app,
    opened,
    show_frame,
)
from backbench.commands.next_steps import next_step, offer_recompute, word
from backbench.quantities.counts import counted
from backbench.quantities.writing import in_text

if TYPE_CHECKING:
    from backbench.maintenance.backup import Copied
    from backbench.maintenance.verify import Report

FEW = 20
"""Orphans that are listed one by one."""


@app.command(rich_help_panel=MAINTENANCE)
def verify(catalogue: Home = HERE, out_format: Format = "table", wide: Wide = False) -> None:
    """Check every original against its hash and every reading against its captures.

    Nothing is changed.

    Example: backbench verify -c my-catalogue
    """
    from backbench.maintenance.verify import verify as verified
    from backbench.reports.progress_bars import bars

    home = opened(catalogue, carry_on=False)
    with bars() as shown:
        task = shown.add_task("hashing originals", total=None)
        report = verified(home.places, lambda n: shown.advance(task, n))
    if out_format == "table":
        _report(report)
    else:
        show_frame(report.frame(), out_format)
    if not report.faults:
        stale = bool(home.places.ledger.newest()) and offer_recompute(home)
        if report.gaps and not stale and out_format == "table":
            next_step("recompute", catalogue=catalogue)
    if report.faults:
        raise typer.Exit(1)


@app.command(rich_help_panel=MAINTENANCE)
def backup(
    folder: Annotated[Path, typer.Argument(help="A new or empty folder, or an earlier backup.")],
    catalogue: Home = HERE,
) -> None:
    """Make or update a verified backup; the catalogue may be in use meanwhile.

    Example: backbench backup /media/disk/backbench -c my-catalogue
    """
    from backbench.maintenance.backup import backup as backed_up
    from backbench.reports.progress_bars import bars

    home = opened(catalogue)
    with bars() as shown:
        task = shown.add_task("copying originals", total=None)
        copied = backed_up(home.places, folder, lambda n: shown.advance(task, n))
    _report_copied(copied, folder)
    next_step(f"verify -c {word(folder)}")


@app.command(rich_help_panel=MAINTENANCE)
def restore(
    source: Annotated[Path, typer.Argument(help="A backup.")],
    folder: Annotated[
        Path, typer.Argument(help="A new or empty folder, or a catalogue to be repaired.")
    ],
) -> None:
    """Make a catalogue from a backup, or restore the originals that a catalogue has lost.

    Example: backbench restore /media/disk/backbench my-catalogue
    """
    from backbench.maintenance.backup import restore as restored
    from backbench.reports.progress_bars import bars

    home = opened(source, carry_on=False)
    with bars() as shown:
        task = shown.add_task("copying originals", total=None)
        copied = restored(home.places, folder, lambda n: shown.advance(task, n))
    _report_copied(copied, folder)
    next_step(f"verify -c {word(folder)}")


def _report(report: Report) -> None:
    """Faults on standard error; the rest as lines."""
    for fault in report.faults:
        typer.echo(str(fault), err=True)
    for gap in report.gaps:
        typer.echo(f"not taken in: {gap}; `backbench recompute` takes it in")
    for orphan in report.orphans[:FEW]:
        typer.echo(f"left over: {orphan}, an original that no receipt names; it does no harm")
    if len(report.orphans) > FEW:
        typer.echo(f"and {counted(len(report.orphans) - FEW, 'more original')} left over")
    typer.echo(
        f"{counted(report.originals, 'original')} ({in_text(report.bytes / 1e6, 'MB')}), "
        f"{counted(report.receipts, 'receipt')}, {counted(report.readings, 'reading')}: "
        f"{counted(len(report.faults), 'fault')}, {len(report.gaps)} not taken in, "
        f"{len(report.orphans)} left over"
        + (f"; {counted(report.withdrawn, 'review')} withdrawn" if report.withdrawn else "")
    )


def _report_copied(copied: Copied, folder: Path) -> None:
    for fault in copied.faults:
        typer.echo(str(fault), err=True)
    typer.echo(
        f"{folder}: {counted(copied.copied, 'original')} copied "
        f"({in_text(copied.bytes / 1e6, 'MB')}), "
        f"{copied.held} already there; all read back and verified"
        if not copied.faults
        else f"{folder}: {counted(copied.copied, 'original')} copied, {copied.held} already there; "
        f"{counted(len(copied.faults), 'fault')}"
    )
    if copied.faults:
        raise typer.Exit(PARTLY_DONE)
