"""Commands of corrections: history, withdraw, rename, join."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.answers import on_terminal
from backbench.commands.common import (
    CORRECT,
    HERE,
    PARTLY_DONE,
    DryRun,
    Format,
    Home,
    Wide,
    app,
    opened,
    show_frame,
)
from backbench.commands.next_steps import next_step, word
from backbench.quantities.counts import counted
from backbench.quantities.writing import in_text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from backbench.catalogue import Catalogue
    from backbench.maintenance.corrections import Appearance
    from backbench.maintenance.history import HistoryEntry
    from backbench.storage.catalogue_paths import CataloguePaths

FEW = 20
"""Changed readings that are shown for each receipt."""


@app.command(rich_help_panel=CORRECT)
def history(
    unit: Annotated[str, typer.Argument(help="The unit's current key.")],
    catalogue: Home = HERE,
    readings: Annotated[
        bool,
        typer.Option(
            "--readings", help="Measure the old versions again and list the readings that changed."
        ),
    ] = False,
    out_format: Format = "table",
    wide: Wide = False,
) -> None:
    """List what changed in a unit's reviews since they were first ingested.

    Example: backbench history heron-40 --readings -c my-catalogue
    """
    from backbench.maintenance.history import history as unit_history
    from backbench.maintenance.history import history_frame
    from backbench.reports.progress_bars import watched

    places = opened(catalogue).places
    if not readings:
        entries = unit_history(places, unit, with_readings=False)
    else:
        with places.changing(), watched("measuring old versions") as watch:
            entries = unit_history(
                places, unit, with_readings=True, started=watch.started, progress=watch.progress
            )
    if out_format != "table":
        show_frame(history_frame(places, entries), out_format)
        return
    for entry in entries:
        _show(entry)
    _show_benches(places, {entry.bench for entry in entries})
    former = sorted(old for old in places.settings.aliases if
                    places.settings.unit_key(old) == unit)  # fmt: skip
    if former:
        typer.echo(f"Former keys, included above: {', '.join(former)}.")
    typer.echo(_summary(entries))
    again = len(entries) > len({entry.receipt.review for entry in entries})
    if not readings and again:
        next_step(f"history {word(unit)} --readings", catalogue=catalogue)
    else:
        next_step(f"compare {word(unit)}", catalogue=catalogue)


def _show_benches(places: CataloguePaths, benches: set[str]) -> None:
    """What changed in the calibrations that the unit was measured with."""
    from backbench.maintenance.calibration_history import bench_changes
    from backbench.reports.result_cells import printable

    lines = bench_changes(places, benches)
    if lines:
        typer.echo("calibrations")
    for line in lines:
        typer.echo(f"  {printable(line)}")


def _summary(entries: Sequence[HistoryEntry]) -> str:
    """How many reviews and versions there are, what changed in them, and which are withdrawn."""
    newest = {entry.receipt.review: entry.receipt for entry in entries}
    withdrawn = [key for key, receipt in newest.items() if receipt.withdrawn is not None]
    times = "once" if len(entries) == 1 else f"in {len(entries)} versions"
    parts = [f"{counted(len(newest), 'review')}, accepted {times}"]
    moved = [entry.changed_readings for entry in entries if entry.changed_readings is not None]
    if moved:
        parts.append(f"{counted(sum(map(len, moved)), 'reading')} changed")
    if withdrawn:
        parts.append(f"withdrawn now: {', '.join(withdrawn)}")
    return "In all: " + "; ".join(parts) + "."


def _show(entry: HistoryEntry) -> None:
    from backbench.metrics.registry import registry
    from backbench.reports.result_cells import printable

    receipt = entry.receipt
    typer.echo(f"receipt {receipt.number}, review {receipt.review}, measured on {entry.reviewed}")
    for change in entry.changes or ("no change of content",):
        typer.echo(f"  {printable(change)}")
    if entry.changed_readings is None:
        return
    typer.echo(
        f"  {counted(len(entry.changed_readings), 'reading')} changed"
        + (":" if entry.changed_readings else "")
    )
    for one in entry.changed_readings[:FEW]:
        metric = registry().metrics.get(one.metric)
        unit, title = (metric.unit, metric.title) if metric else ("1", one.metric)
        values = (one.before, one.after)
        was, now = ("no value" if v is None else in_text(v, unit, 6) for v in values)
        typer.echo(f"    {title}, {one.output} ({one.conditions}): {was} is now {now}")
    if len(entry.changed_readings) > FEW:
        typer.echo(f"    and {len(entry.changed_readings) - FEW} more")


@app.command(rich_help_panel=CORRECT)
def withdraw(
    review: Annotated[str, typer.Argument(help="A review's key.")],
    catalogue: Home = HERE,
    reason: Annotated[
        str | None, typer.Option(help="The reason, which is kept in the ledger.")
    ] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Restore a withdrawn review.")] = False,
    dry_run: DryRun = False,
) -> None:
    """Remove a review from the database but keep its originals; --undo restores it.

    Example: backbench withdraw 2024-05-heron --reason "wrong load" -c my-catalogue
    """
    from backbench.errors import MISSING, Fault, UserError
    from backbench.maintenance import corrections

    home = opened(catalogue, carry_on=dry_run)
    if not undo and not reason:
        raise UserError(
            "the review was not withdrawn",
            [Fault("--reason", MISSING, "a text that says why")],
        )
    if dry_run:
        if undo:
            corrections.withdrawn_receipt(home.places, review)
        else:
            corrections.newest_receipt(home.places, review)
        typer.echo(f"would {'restore' if undo else 'withdraw'} {review}; its originals are kept")
        return
    with home.places.changing():
        if undo:
            corrections.restore_review(home.places, review)
        else:
            corrections.withdraw(home.places, review, str(reason))
    _, refused = home.carry_on()
    for item in refused:
        typer.echo(f"{item.source}: {item.error}", err=True)
    typer.echo(f"{review} {'is restored' if undo else 'is withdrawn; its originals are kept'}.")
    if refused:
        raise typer.Exit(PARTLY_DONE)
    if undo:
        next_step(f"show {word(review)}", catalogue=catalogue)
    else:
        typer.echo("It stays so until its folder is corrected and ingested again.")
        next_step("ingest FOLDER", f"withdraw {word(review)} --undo", catalogue=catalogue)


@app.command(rich_help_panel=CORRECT)
def rename(
    old: Annotated[str, typer.Argument(help="The unit's current key.")],
    new: Annotated[str, typer.Argument(help="Its new key, which no other unit has.")],
    catalogue: Home = HERE,
    dry_run: DryRun = False,
) -> None:
    """Change a unit's key in every review, past ones included.

    The manifests stay as they are; the alias is kept in backbench.toml.

    Example: backbench rename heron-40-b heron-40-second -c my-catalogue
    """
    from backbench.maintenance.corrections import rename_unit, renamed_settings

    home = opened(catalogue, carry_on=dry_run)
    if dry_run:
        renamed_settings(home.places, old, new)
        typer.echo(f"would replace the key {old} by {new} in every review")
        return
    with home.places.changing():
        rename_unit(home.places, old, new)
    _brought_along(home, f"{old} is now {new}", new)


@app.command(rich_help_panel=CORRECT)
def join(
    unit: Annotated[str, typer.Argument(help="The key that is given up.")],
    into: Annotated[str, typer.Argument(help="The key of the unit that both are.")],
    catalogue: Home = HERE,
    yes: Annotated[bool, typer.Option("--yes", help="Join them without asking.")] = False,
    dry_run: DryRun = False,
    wide: Wide = False,
) -> None:
    """Make one unit of two that turned out to be the same sample; both are shown first.

    Every review is then read under the second key. The manifests stay as they are; the alias is
    kept in backbench.toml.

    Example: backbench join heron-40-b heron-40 -c my-catalogue --yes
    """
    from backbench.maintenance.corrections import (
        appearances_of,
        rename_unit,
        renamed_settings,
    )

    home = opened(catalogue)
    both = {key: appearances_of(home.places, key) for key in (unit, into)}
    renamed_settings(home.places, unit, into, joining=True)
    _show_both(both)
    if dry_run:
        typer.echo(f"would read every review of {unit} as one of {into}")
        return
    if not yes and not on_terminal():
        typer.echo("Nothing was changed. Compare the two, then run it again with --yes.")
        raise typer.Exit(1)
    if not yes and not typer.confirm("Are they one and the same sample?"):
        typer.echo("Nothing was changed.")
        return
    with home.places.changing():
        rename_unit(home.places, unit, into, joining=True)
    _brought_along(home, f"{unit} is joined with {into}", into)


def _show_both(both: Mapping[str, Sequence[Appearance]]) -> None:
    """What each review says of the two units, and what of it differs."""
    import polars as pl

    rows = [
        {"unit": key, "review": one.review, "date": one.date, "maker": one.unit.maker,
         "model": one.unit.model, "serial": one.unit.serial, "kind": one.unit.kind,
         "state": one.unit.state}
        for key, appearances in both.items() for one in appearances
    ]  # fmt: skip
    show_frame(pl.DataFrame(rows, infer_schema_length=None), "table")
    for name in ("maker", "model", "serial", "kind", "technology"):
        values = {str(value) for appearances in both.values() for one in appearances
                  if (value := getattr(one.unit, name)) is not None}  # fmt: skip
        if len(values) > 1:
            typer.echo(f"warning: {name} differs: {', '.join(sorted(values))}", err=True)


def _brought_along(home: Catalogue, done: str, unit: str) -> None:
    """The database brought up to a new key, and what came of it."""
    from backbench.maintenance.corrections import appearances_of

    outcomes, refused = home.recompute(history=False)
    of_unit = {one.review for one in appearances_of(home.places, unit)}
    changed = [outcome.review for outcome in outcomes if not outcome.unchanged]
    own = [review for review in changed if review in of_unit]
    others = len(changed) - len(own)
    typer.echo(f"{done}: {', '.join(own) or 'no review'} updated.")
    if others:
        typer.echo(f"{counted(others, 'other review')} that had been out of date: updated too.")
    for item in refused:
        typer.echo(f"{item.source}: {item.error}", err=True)
    if refused:
        raise typer.Exit(PARTLY_DONE)
    next_step(f"history {word(unit)}", f"compare {word(unit)}", catalogue=home.places.root)
