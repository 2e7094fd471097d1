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
    Format,
    Home,
    Wide,
    app,
    opened,
    show_frame,
)
from backbench.commands.next_steps import next_step, word
from backbench.commands.quantity_options import quantity
from backbench.errors import Fault, UserError
from backbench.quantities.counts import counted
from backbench.quantities.writing import in_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from backbench.bench_day.planned_capture import Plan
    from backbench.catalogue import Catalogue
    from backbench.documents.manifest import Manifest
    from backbench.metrics.limit_brackets import LimitBracket


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
    rate: Annotated[
        float | None,
        quantity(
            "--rate",
            "Hz",
            'Sample rate of the recordings, such as "96 kHz", the default.',
            least=44_100,
            most=768_000,
        ),
    ] = None,
    loop_back: Annotated[
        bool, typer.Option("--loop-back", help="Show the loop-backs of the plan alone.")
    ] = False,
    repeat: Annotated[
        bool,
        typer.Option(
            "--repeat",
            help="Of a unit measured before, without work since: the captures that teach most of "
            "how figures differ between sessions.",
        ),
    ] = False,
    out_format: Format = "table",
    wide: Wide = False,
    out: Annotated[
        Path | None, typer.Option(help="Write the plan as a page to print (.html).")
    ] = None,
    dry_run: DryRun = False,
) -> None:
    """List the captures to take, in the order that stresses the unit least.

    The list is kept as plan.toml.

    The gain is taken from --gain-db, else from a tone of this review, else from the catalogue, of
    the same load and state. What the rate, the generator and the input ranges can't give is left
    out, with the reason. When planned again, loads, rate and gain that were given before stand
    until others are, the list marks what is already recorded, and once the review has been ingested
    it asks for the steps that narrow a power at a limit of distortion.

    Example: backbench plan reviews/2024-05-heron --load 8 --load 4 --out plan.html -c my-catalogue
    """
    from backbench.bench_day.measuring_chain import expired
    from backbench.bench_day.planned_capture import PLAN_NAME, plan_text
    from backbench.bench_day.repeat_steps import repeat_plan
    from backbench.storage.atomic_io import write_text_file

    home = opened(catalogue)
    manifest = _manifest(folder)
    settings = home.settings
    made = _made_plan(folder, manifest, home, gain_db, tuple(load or ()), rate)
    if repeat:
        with home.reading() as store:
            made = repeat_plan(store, manifest, made)
    _show_plan(made, manifest, folder, out_format, loop_backs_alone=loop_back)
    for line in expired(manifest, settings):
        typer.echo(f"warning: {line}", err=True)
    if out is not None and not dry_run:
        _write_page(made, manifest, out)
    if not dry_run:
        write_text_file(folder / PLAN_NAME, plan_text(made))
        typer.echo(f"Wrote {folder / PLAN_NAME}.", err=out_format != "table")
        next_step(f"stimuli {word(folder)} waves", err=out_format != "table")


@app.command(rich_help_panel=AT_THE_BENCH)
def stimuli(
    folder: Folder,
    out: Annotated[Path, typer.Argument(help="A folder for the WAV files.")],
    rate: Annotated[
        float | None,
        quantity(
            "--rate",
            "Hz",
            'Sample rate, such as "96 kHz". Default: that of the plan.',
            least=44_100,
            most=768_000,
        ),
    ] = None,
    bits: Annotated[int, typer.Option(help="Word length: 16, 24 or 32 (floating point).")] = 24,
    dry_run: DryRun = False,
) -> None:
    """Write the WAV files to play for a planned review: one per capture, and long runs.

    Where backbench.toml gives the generator's volts at full scale, the files hold the planned
    levels; otherwise they peak 3 dB below full scale, and the level is set by hand. Runs hold what
    isn't recorded yet. Runs and references that are there stay as they are: a changed one gets a
    new name.

    Example: backbench stimuli reviews/2024-05-heron waves --rate 96000 --bits 24
    """
    from backbench.bench_day.cautions import UNATTENDED
    from backbench.bench_day.plan import USUAL_RATE_HZ
    from backbench.bench_day.planned_capture import PLAN_NAME, plan_text
    from backbench.bench_day.stimuli_files import write_stimuli
    from backbench.bench_day.stimuli_writing import SUBTYPES, Format
    from backbench.storage.atomic_io import write_text_file

    if bits not in SUBTYPES:
        raise UserError(
            "this word length is not supported", [Fault("--bits", str(bits), "16, 24 or 32")]
        )
    planned = _plan(folder)
    form = Format(round(rate or planned.rate_hz or USUAL_RATE_HZ), bits)
    written = write_stimuli(out, planned, form, review=folder, dry=dry_run)
    if written.plan != planned and not dry_run:
        write_text_file(folder / PLAN_NAME, plan_text(written.plan))
    for path in written.kept:
        typer.echo(f"kept {path}: it may have been played, and holds something else")
    for file, reason in written.left_out:
        typer.echo(f"{file} left out: {reason}", err=True)
    runs = [path for path in written.files if path.suffix == ".toml"]
    _show_written(written.files, runs, folder, dry=dry_run)
    if runs:
        typer.echo(f"\nCaution, before a run is played: {UNATTENDED}")
    if runs and not dry_run:
        typer.echo("Record each run from before it begins until it has ended.")
        next_step(f"cut RECORDING {word(runs[0])} {word(folder)}")
    elif not dry_run:
        typer.echo("Record each file under its own name into the review's folder.")
        next_step(f"check {word(folder)} --accept")
    if written.left_out:
        raise typer.Exit(PARTLY_DONE)


def _show_written(files: Sequence[Path], runs: Sequence[Path], review: Path, *, dry: bool) -> None:
    """How many files went into each folder, and the runs by name."""
    done = "would write" if dry else "wrote"
    single = [path for path in files if path.stem not in {run.stem for run in runs}]
    for place in dict.fromkeys(path.parent for path in single):
        number = sum(path.parent == place for path in single)
        why = ": what will be played, for the analysis to compare with" * (place == review)
        typer.echo(f"{done} {counted(number, 'file')} into {place}/{why}")
    for run in runs:
        typer.echo(f"{done} {run.with_suffix('.wav')}, with its layout {run.name}")


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

    The plan then says of them what this run played, whatever was planned since.

    Example: backbench cut recorded-run.wav waves/run-8ohm.toml reviews/2024-05-heron
    """
    from backbench.bench_day.cut_run import cut_run, follow_run
    from backbench.bench_day.run_files import next_run, read_run

    if not folder.is_dir():
        fault = Fault(str(folder), "no such folder", "the review's folder")
        raise UserError("the recording can't be cut", [fault])
    run = read_run(layout)
    for piece in cut_run(recording, run, folder, dry=dry_run):
        action = "would write" if dry_run else "wrote"
        typer.echo(f"{action} {piece.path}: {piece.span()}")
    if not dry_run:
        for line in follow_run(run, folder):
            typer.echo(f"warning: {line}", err=True)
        left = next_run(layout.parent, folder)
        if left is not None:
            next_step(f"cut RECORDING {word(left)} {word(folder)}")
        else:
            next_step(f"check {word(folder)} --accept")


# What the commands share ----------------------------------------------------------------------


def _manifest(folder: Path) -> Manifest:
    from backbench.documents.accepted_manifest import accepted_manifest
    from backbench.documents.file_names import MANIFEST_NAME
    from backbench.documents.validation import read_bytes

    path = folder / MANIFEST_NAME
    return accepted_manifest(read_bytes(path, "the review"), str(path))


def _plan(folder: Path) -> Plan:
    from backbench.bench_day.planned_capture import PLAN_NAME, read_plan

    plan = read_plan(folder)
    if plan is None:
        fault = Fault(str(folder / PLAN_NAME), "no such file", "the plan of the review",
                      f"make it with `backbench plan {word(folder)}`")  # fmt: skip
        raise UserError("the review has no plan", [fault])
    return plan


def _made_plan(
    folder: Path,
    manifest: Manifest,
    home: Catalogue,
    gain_db: float | None,
    loads: tuple[float, ...],
    rate: float | None,
) -> Plan:
    """The plan, with what is recorded kept as it was played."""
    from backbench.bench_day.gain_estimate import GIVEN, known_gain
    from backbench.bench_day.measuring_chain import chain_of
    from backbench.bench_day.plan import (
        USUAL_RATE_HZ,
        Wishes,
        make_plan,
        nominal_load,
        with_recorded,
    )
    from backbench.bench_day.planned_capture import read_plan
    from backbench.ingest.capture_files import found_file

    earlier = read_plan(folder)
    loads = loads or tuple(earlier.loads_ohm if earlier else ())
    nominal = nominal_load(manifest, loads)
    same_load = earlier is not None and list(loads[:1]) == earlier.loads_ohm[:1]
    before = earlier.gain_db if earlier and same_load and earlier.gain_from == GIVEN else None
    gain = known_gain(folder, manifest, home.places, gain_db, nominal, before)
    chain = chain_of(manifest, home.settings, gain.db, gain.loaded_db)
    rate_hz = rate or (earlier.rate_hz if earlier else None) or USUAL_RATE_HZ
    brackets = _brackets(home, manifest)
    made = make_plan(manifest, chain, Wishes(loads, rate_hz, gain.db, gain.source, brackets))
    if gain.remark:
        made = made.model_copy(update={"notes": [gain.remark, *made.notes]})
    steps = [*made.step, *(earlier.step if earlier else [])]
    return with_recorded(
        made, earlier, {step.stem for step in steps if found_file(folder, step.file)}
    )


def _brackets(home: Catalogue, manifest: Manifest) -> tuple[LimitBracket, ...]:
    """Between which powers the limits of distortion lie, where the review was ingested."""
    from backbench.ingest.derive import session_of_review
    from backbench.metrics.limit_brackets import limit_brackets
    from backbench.storage.database import DATABASE_NAME, reading

    if not (home.places.database / DATABASE_NAME).exists():
        return ()
    with reading(home.places.database) as store:
        return tuple(limit_brackets(session_of_review(store, manifest.review.key)))


NEEDED = ("file", "play", "level", "load", "range", "done", "n")
"""What somebody at the bench sets, one capture after the other."""


def _show_plan(
    made: Plan, manifest: Manifest, folder: Path, out_format: str, *, loop_backs_alone: bool
) -> None:
    """The notes and a row a capture; in another format than a table, the rows alone."""
    import polars as pl

    from backbench.bench_day.plan_text import rows
    from backbench.ingest.capture_files import found_file

    if out_format == "table":
        _show_notes(made, manifest)
    done = {step.stem for step in made.step if found_file(folder, step.file)}
    chosen = {step.file for step in made.step if step.loop_back or not loop_backs_alone}
    shown = [row for row in rows(made, done) if row["file"] in chosen]
    show_frame(pl.DataFrame(shown), out_format, needed=NEEDED)


def _show_notes(made: Plan, manifest: Manifest) -> None:
    """What to know before the first capture is taken."""
    from backbench.bench_day.cautions import cautions
    from backbench.bench_day.plan_text import WARM_UP
    from backbench.reports.terminal_tables import console, flowing, listed

    out = console()
    flowing(out, "Before anything is connected:")
    for line in cautions(manifest.unit):
        listed(out, line)
    out.print()
    gain = made.gain_db
    stated = [] if gain is None else [f"Gain {in_text(gain, 'dB', 4)} ({made.gain_from})."]
    for line in [WARM_UP, *made.notes, *stated]:
        listed(out, line)


def _write_page(made: Plan, manifest: Manifest, out: Path) -> None:
    from backbench.bench_day.plan_text import page
    from backbench.storage.atomic_io import write_text_file

    if out.suffix != ".html":
        fault = Fault("--out", repr(out.name), "a file ending in .html")
        raise UserError("the page can't be written", [fault])
    write_text_file(out, page(made, manifest))
    typer.echo(f"Wrote {out}.")
