"""The command that looks a review folder over before the ingest: check."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.common import (
    AT_THE_BENCH,
    CATALOGUE_VARIABLE,
    HERE,
    DryRun,
    Folder,
    app,
    opened,
)
from backbench.commands.next_steps import next_step, word
from backbench.quantities.counts import counted
from backbench.quantities.writing import in_text

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
            envvar=CATALOGUE_VARIABLE,
            help="The catalogue it is meant for: its calibrations are looked up. Default: the "
            "present folder, where that is one.",
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
    from backbench.bench_day.session_check import check as look
    from backbench.documents.file_names import SETTINGS_NAME
    from backbench.reports.progress_bars import watched

    if catalogue is None and (HERE / SETTINGS_NAME).is_file():
        catalogue = HERE
    settings = opened(catalogue).settings if catalogue is not None else None
    to_be_added = accept and not dry_run
    with watched() as watch:
        # Measured once: with the entries that are added.
        checked = look(folder, None if to_be_added else settings, watch.progress)
    if to_be_added and checked.manifest is not None:
        if checked.suggestions:
            _add(folder, checked)
        with watched() as watch:
            checked = look(folder, settings, watch.progress, checked.scanned)
    _report_check(checked)
    _next(folder, catalogue, checked)
    if not checked.sound:
        raise typer.Exit(1)


def _next(folder: Path, catalogue: Path | None, checked: Checked) -> None:
    """Take in suggestions, record what is missing, correct faults, then plan or ingest."""
    if any(item.ready for item in checked.suggestions):
        next_step(f"check {word(folder)} --accept", catalogue=catalogue)
    elif not checked.sound or checked.suggestions or checked.missing:
        what = "correct the faults" if not checked.sound else "add what is missing"
        typer.echo(f"First {what}.")
        next_step(f"check {word(folder)}", catalogue=catalogue)
    elif checked.manifest is not None and not (
        checked.manifest.capture or checked.manifest.entered
    ):
        typer.echo("Nothing is recorded yet.")
        next_step(f"plan {word(folder)}", catalogue=catalogue)
    else:
        next_step(f"ingest {word(folder)}", catalogue=catalogue)


def _add(folder: Path, checked: Checked) -> None:
    """The suggested entries shown, and added to the manifest as far as they can be."""
    from backbench.bench_day.session_check import accept
    from backbench.reports.result_cells import printable

    _report_suggestions(checked)
    done = accept(folder, checked.suggestions)
    for file, reason in done.left_out:
        typer.echo(printable(f"{file}: not added: {reason}"), err=True)
    number = counted(len(done.added), "entry", "entries")
    typer.echo(f"Added {number} to {folder / 'review.toml'}; checked again with them:\n")


def _report_check(checked: Checked) -> None:
    from backbench.reports.result_cells import printable

    for fault in checked.faults:
        typer.echo(printable(f"fault: {fault}"), err=True)
    for line in checked.unsound:
        typer.echo(printable(f"fault: {line}"), err=True)
    for line in checked.warnings:
        typer.echo(printable(f"warning: {line}"), err=True)
    for line in checked.ended.unused if checked.ended else ():
        typer.echo(printable(f"note: {line}"), err=True)
    _report_suggestions(checked)
    if checked.missing:
        typer.echo("\nPlanned but not recorded yet:")
        for step in checked.missing:
            typer.echo(f"  {step.file}  {_level(step)}{step.why}")
    if checked.unmeasured and checked.manifest is not None:
        typer.echo(f"note: {checked.unmeasured}", err=True)
    faults = len(checked.faults) + len(checked.unsound)
    taken = checked.ended.counts() if checked.ended else counted(checked.taken, "capture")
    typer.echo(
        f"\nIn the manifest {taken}; {len(checked.suggestions)} suggested, "
        f"{len(checked.missing)} missing, {counted(faults, 'fault')}, "
        f"{counted(len(checked.warnings), 'warning')}."
    )


def _report_suggestions(checked: Checked) -> None:
    from backbench.reports.result_cells import printable

    planned = [item for item in checked.suggestions if item.ready and item.as_planned]
    if planned:
        typer.echo("\nRecorded as planned, to be entered as the plan states them:")
    for item in planned:
        typer.echo(printable(f"  {item.file}"))
    for item in checked.suggestions:
        if item in planned:
            continue
        state = "" if item.ready else "; to be completed"
        typer.echo("\n" + printable(f"# {item.file}, {item.source}{state}"))
        typer.echo(item.text)
        if item.warning:
            typer.echo(printable(f"warning: {item.file}: {item.warning}"), err=True)
    for name, reason in checked.unknown:
        typer.echo(printable(f"{name}: not recognised ({reason})"), err=True)


def _level(step: PlannedStep) -> str:
    parts = [in_text(step.power_w, "W") if step.power_w else "",
             in_text(step.out_vrms, "V") if step.out_vrms else ""]  # fmt: skip
    text = ", ".join(part for part in parts if part)
    return f"{text}: " if text else ""
