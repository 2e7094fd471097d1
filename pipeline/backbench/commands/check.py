"""The command that looks a review folder over before the ingest: check."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.common import AT_THE_BENCH, DryRun, Folder, app, opened
from backbench.quantities.counts import counted
from backbench.reports.terminal_tables import printable

if TYPE_CHECKING:
    from backbench.bench_day.planned_capture import PlannedStep
    from backbench.bench_day.session_check import Checked


@app.command(rich_help_panel=AT_THE_BENCH)
def check(
    folder: Folder,
    catalogue: Annotated[
        Path | None,
        typer.Option(
            "--catalogue",
            "-c",
            envvar="BACKBENCH_CATALOGUE",
            help="The catalogue it is meant for: its calibrations are looked up.",
        ),
    ] = None,
    accept: Annotated[
        bool, typer.Option("--accept", help="Add the suggested entries to review.toml.")
    ] = False,
    dry_run: DryRun = False,
) -> None:
    """Check a review folder before it is ingested: faults, missing captures, unnamed files.

    Each file that the manifest doesn't name is analysed, and an entry is suggested for it.

    Example: backbench check reviews/2024-05-heron --accept -c my-catalogue
    """
    from backbench.bench_day.session_check import accept as add
    from backbench.bench_day.session_check import check as look
    from backbench.reports.progress_bars import watched

    settings = opened(catalogue).settings if catalogue is not None else None
    with watched() as watch:
        found = look(folder, settings, watch.progress)
    if accept and not dry_run and found.manifest is not None and found.suggestions:
        _report_suggestions(found)
        done = add(folder, found.suggestions)
        for file, reason in done.left_out:
            typer.echo(f"{file}: not added: {reason}", err=True)
        number = counted(len(done.added), "entry", "entries")
        typer.echo(f"Added {number} to {folder / 'review.toml'}; checked again with them:\n")
        with watched() as watch:
            found = look(folder, settings, watch.progress)
    _report_check(found)
    if not found.sound:
        raise typer.Exit(1)
    if found.manifest is not None and not found.suggestions and not found.missing:
        typer.echo(f"Next: backbench ingest {folder}")


def _report_check(found: Checked) -> None:
    for fault in found.faults:
        typer.echo(printable(f"fault: {fault}"), err=True)
    for line in found.unsound:
        typer.echo(printable(f"fault: {line}"), err=True)
    for line in found.warnings:
        typer.echo(printable(f"warning: {line}"), err=True)
    _report_suggestions(found)
    if found.missing:
        typer.echo("\nPlanned but not recorded yet:")
        for step in found.missing:
            typer.echo(f"  {step.file}  {_level(step)}{step.why}")
    if found.unmeasured and found.manifest is not None:
        typer.echo(f"note: {found.unmeasured}", err=True)
    faults = len(found.faults) + len(found.unsound)
    taken = found.ended.counts() if found.ended else counted(found.taken, "capture")
    typer.echo(
        f"\n{taken} in the manifest; {len(found.suggestions)} suggested, "
        f"{len(found.missing)} missing, {counted(faults, 'fault')}, "
        f"{counted(len(found.warnings), 'warning')}."
    )


def _report_suggestions(found: Checked) -> None:
    for item in found.suggestions:
        typer.echo(f"\n# {item.file}, {item.source}" + ("" if item.ready else "; to be completed"))
        typer.echo(item.text)
        if item.warning:
            typer.echo(f"warning: {item.file}: {item.warning}", err=True)
    for name, reason in found.unknown:
        typer.echo(f"{name}: not recognised ({reason})", err=True)


def _level(step: PlannedStep) -> str:
    from backbench.bench_day.plan_text import text_of

    parts = [text_of(step.power_w, "W") if step.power_w else "",
             text_of(step.out_vrms, "V") if step.out_vrms else ""]  # fmt: skip
    text = ", ".join(part for part in parts if part)
    return f"{text}: " if text else ""
