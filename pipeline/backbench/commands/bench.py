"""The command that describes a bench: bench."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.answers import key_answer, on_terminal, quantity_answer
from backbench.commands.common import HERE, SET_UP, DryRun, Home, app, opened
from backbench.commands.next_steps import next_step, word
from backbench.commands.quantity_options import quantity

if TYPE_CHECKING:
    from backbench.bench_day.bench_description import BenchDescription

LOAD = "Standard uncertainty (k = 1) of the dummy load's resistance when warm, in %"
GENERATOR = "Standard uncertainty (k = 1) of the generator's stated level, in %"
PLAYS = (
    "If the generator plays files, your name for its output range, such as generator (Enter alone: "
    "its level is set by hand)"
)


@app.command(rich_help_panel=SET_UP)
def bench(
    key: Annotated[str | None, typer.Argument(help="Your own key for the bench.")] = None,
    catalogue: Home = HERE,
    load_uncertainty_percent: Annotated[
        float | None,
        quantity("--load-uncertainty-percent", "%", f'{LOAD}, such as "0.5 %".'),
    ] = None,
    generator_uncertainty_percent: Annotated[
        float | None,
        quantity("--generator-uncertainty-percent", "%", f'{GENERATOR}, such as "0.5 %".'),
    ] = None,
    generator_range: Annotated[
        str | None, typer.Option(help="Name for the output range of a generator that plays files.")
    ] = None,
    dry_run: DryRun = False,
) -> None:
    """Describe a bench: write its table in backbench.toml, ready to be calibrated.

    On a terminal you are asked for what is missing.

    Example: backbench bench attic --load-uncertainty-percent 0.5
    --generator-uncertainty-percent 0.5 --generator-range generator -c my-catalogue
    """
    from backbench.bench_day.bench_description import BenchDescription

    given = BenchDescription(
        key, load_uncertainty_percent, generator_uncertainty_percent, generator_range
    )
    asked = completed(given, catalogue) if on_terminal() else given
    add_bench(catalogue, asked, dry_run=dry_run)


def completed(given: BenchDescription, catalogue: Path) -> BenchDescription:
    """The description with the answers to what was missing; printed where they break off."""
    answers = given
    try:
        if answers.key is None:
            answers = replace(answers, key=key_answer("Your key for the bench", "bench"))
        if answers.load_percent is None:
            answers = replace(answers, load_percent=quantity_answer(LOAD, "%"))
        if answers.generator_percent is None:
            answers = replace(answers, generator_percent=quantity_answer(GENERATOR, "%"))
        if answers.generator_range is None:
            text = str(typer.prompt(PLAYS, default="", show_default=False)).strip()
            answers = replace(answers, generator_range=text or None)
    except typer.Abort:
        typer.echo(f"\nNo bench was written. What you entered, as a command:\n"
                   f"  {answers.command_line(catalogue)}")  # fmt: skip
        raise typer.Exit(130) from None
    return answers


def add_bench(catalogue: Path, description: BenchDescription, *, dry_run: bool = False) -> None:
    """Write the bench, and say which calibrations come next."""
    from backbench.bench_day.bench_description import bench_text, describe_bench
    from backbench.errors import UserError

    home = opened(catalogue)
    if dry_run:
        faults = description.faults(home.settings)
        if faults:
            raise UserError("the bench can't be described", faults)
        typer.echo(bench_text(description))
        return
    with home.places.changing():
        path = describe_bench(home.places.root, description, home.settings)
    typer.echo(f"Added the bench {description.key} to {path}.")
    ranges = ["5 V", *([description.generator_range] if description.generator_range else [])]
    for name in ranges:
        next_step(
            f"calibrate TONE.wav --volts VOLTS --meter-uncertainty-percent 0.2 "
            f"--bench {description.key} --range {word(name)} --save", catalogue=catalogue,
        )  # fmt: skip
