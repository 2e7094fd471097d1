"""Commands of the bench day, before the ingest: plan, stimuli, cut."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.common import (
    AT_THE_BENCH,
    HERE,
    PARTLY_DONE,
    DryRun,
    Folder,
    Home,
    app,
    opened,
)
from backbench.commands.quantity_options import quantity
from backbench.errors import Fault, UserError
from backbench.quantities.writing import in_text

if TYPE_CHECKING:
    from backbench.bench_day.planned_capture import Plan
    from backbench.catalogue import Catalogue
    from backbench.documents.manifest import Manifest


@app.command(rich_help_panel=AT_THE_BENCH)
def plan(
    folder: Folder,
    catalogue: Home = HERE,
    gain_db: Annotated[
        float | None,
        quantity("--gain-db", "dB", "Measured gain from generator to output, such as 26."),
    ] = None,
    load: Annotated[
        list[float] | None,
        quantity(
            "--load",
            "ohm",
            'A load, such as 8 or "4 ohm"; the nominal one first. May be repeated.',
            least=0.1,
            most=1e6,
        ),
    ] = None,
    loop_back: Annotated[
        bool, typer.Option("--loop-back", help="Plan loop-back captures of the bench as well.")
    ] = False,
    out: Annotated[
        Path | None, typer.Option(help="Write the plan as a page to print (.html).")
    ] = None,
    dry_run: DryRun = False,
) -> None:
    """List the captures to take, in the order that stresses the unit least.

    The list is kept as plan.toml.

    The gain is taken from --gain-db, else from a tone of this review, else from the catalogue.
    When planned again, the list marks what is already recorded.

    Example: backbench plan reviews/2024-05-heron --load 8 --load 4 --out plan.html -c my-catalogue
    """
    from backbench.bench_day.capture_files import found_file
    from backbench.bench_day.measuring_chain import chain_of, expired
    from backbench.bench_day.plan import Wishes, make_plan, with_recorded
    from backbench.bench_day.planned_capture import PLAN_NAME, plan_text, read_plan
    from backbench.storage.atomic_io import write_text_file

    home = opened(catalogue)
    manifest = _manifest(folder)
    settings = home.settings
    gain, source = _gain(folder, manifest, home, gain_db)
    chain = chain_of(manifest, settings, gain)
    wishes = Wishes(tuple(load or ()), loop_back, gain, source)
    made, earlier = make_plan(manifest, chain, wishes), read_plan(folder)
    steps = [*made.step, *(earlier.step if earlier else [])]
    made = with_recorded(
        made, earlier, {step.stem for step in steps if found_file(folder, step.file)}
    )
    _show_plan(made, manifest, folder)
    for line in expired(manifest, settings):
        typer.echo(f"warning: {line}", err=True)
    if out is not None and not dry_run:
        _write_page(made, manifest, out)
    if not dry_run:
        write_text_file(folder / PLAN_NAME, plan_text(made))
        typer.echo(f"Wrote {folder / PLAN_NAME}. Next: backbench stimuli {folder} waves")


@app.command(rich_help_panel=AT_THE_BENCH)
def stimuli(
    folder: Folder,
    out: Annotated[Path, typer.Argument(help="A folder for the WAV files.")],
    rate: Annotated[
        float,
        quantity(
            "--rate", "Hz", 'Sample rate, such as 96000 or "96 kHz".', least=44_100, most=768_000
        ),
    ] = 96_000,
    bits: Annotated[int, typer.Option(help="Word length: 16, 24 or 32 (floating point).")] = 24,
    dry_run: DryRun = False,
) -> None:
    """Write the WAV files to play for a planned review: one per capture, and long runs.

    Where backbench.toml gives the generator's volts at full scale, the files hold the planned
    levels; otherwise they peak 3 dB below full scale, and the level is set by hand.

    Example: backbench stimuli reviews/2024-05-heron waves --rate 96000 --bits 24
    """
    from backbench.bench_day.cautions import UNATTENDED
    from backbench.bench_day.stimuli_files import SUBTYPES, Format, write_stimuli

    if bits not in SUBTYPES:
        raise UserError(
            "this word length is not supported", [Fault("--bits", str(bits), "16, 24 or 32")]
        )
    written = write_stimuli(
        out, _plan(folder), Format(round(rate), bits), review=folder, dry=dry_run
    )
    for file, reason in written.left_out:
        typer.echo(f"{file} left out: {reason}", err=True)
    for path in written.files:
        typer.echo(f"{'would write' if dry_run else 'wrote'} {path}")
    if any(path.suffix == ".toml" for path in written.files):
        typer.echo(f"\nCaution, before a run is played: {UNATTENDED}")
    if written.left_out:
        raise typer.Exit(PARTLY_DONE)


@app.command(rich_help_panel=AT_THE_BENCH)
def cut(
    recording: Annotated[Path, typer.Argument(help="A recording of one run.")],
    layout: Annotated[
        Path, typer.Argument(help="The run's .toml file, in the same folder as its WAV file.")
    ],
    folder: Annotated[Path, typer.Argument(help="The review's folder.")],
    dry_run: DryRun = False,
) -> None:
    """Cut a recorded run into its captures at the markers; the recording stays as it is.

    Example: backbench cut recorded-run.wav waves/run-8ohm.toml reviews/2024-05-heron
    """
    from backbench.bench_day.cut_run import cut_run
    from backbench.bench_day.run_files import read_run

    for piece in cut_run(recording, read_run(layout), folder, dry=dry_run):
        action = "would write" if dry_run else "wrote"
        typer.echo(f"{action} {piece.path}: samples {piece.first} to {piece.last}")


# What the commands share ----------------------------------------------------------------------


def _manifest(folder: Path) -> Manifest:
    from backbench.documents.accepted_manifest import accepted_manifest
    from backbench.documents.manifest import MANIFEST_NAME
    from backbench.documents.validation import read_bytes

    path = folder / MANIFEST_NAME
    return accepted_manifest(read_bytes(path, "the review"), str(path))


def _plan(folder: Path) -> Plan:
    from backbench.bench_day.planned_capture import PLAN_NAME, read_plan

    plan = read_plan(folder)
    if plan is None:
        fault = Fault(str(folder / PLAN_NAME), "no such file", "the plan of the review",
                      f"make it with `backbench plan {folder}`")  # fmt: skip
        raise UserError("the review has no plan", [fault])
    return plan


def _gain(
    folder: Path, manifest: Manifest, home: Catalogue, given: float | None
) -> tuple[float | None, str | None]:
    """Gain in dB and where it is known from; nothing where it isn't."""
    from backbench.bench_day.gain_estimate import gain_of_unit, measured_gain

    if given is not None:
        return given, "as given"
    measured = measured_gain(folder, manifest, home.settings)
    return measured or gain_of_unit(home.places, home.settings, manifest.unit[0].key)


def _show_plan(made: Plan, manifest: Manifest, folder: Path) -> None:
    import polars as pl

    from backbench.bench_day.capture_files import found_file
    from backbench.bench_day.plan_text import rows
    from backbench.reports.export_formats import export

    _show_notes(made, manifest)
    done = {step.stem for step in made.step if found_file(folder, step.file)}
    export(pl.DataFrame(rows(made, done)), "table")


def _show_notes(made: Plan, manifest: Manifest) -> None:
    """What to know before the first capture is taken."""
    from backbench.bench_day.cautions import cautions
    from backbench.bench_day.plan_text import WARM_UP

    typer.echo("Before anything is connected:")
    for line in cautions(manifest.unit):
        typer.echo(f"  - {line}")
    typer.echo("")
    for line in [WARM_UP, *made.notes]:
        typer.echo(f"  {line}")
    if made.gain_db is not None:
        typer.echo(f"  Gain {in_text(made.gain_db, 'dB', 4)} ({made.gain_from}).")


def _write_page(made: Plan, manifest: Manifest, out: Path) -> None:
    from backbench.bench_day.plan_text import page
    from backbench.storage.atomic_io import write_text_file

    if out.suffix != ".html":
        fault = Fault("--out", repr(out.name), "a file ending in .html")
        raise UserError("the page can't be written", [fault])
    write_text_file(out, page(made, manifest))
    typer.echo(f"Wrote {out}.")
