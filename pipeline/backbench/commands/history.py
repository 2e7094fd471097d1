"""Commands of corrections: history, withdraw, rename."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.commands.common import HERE, DryRun, Home, app, opened

if TYPE_CHECKING:
    from backbench.maintenance.history import Entry

FEW = 20
"""Moved readings that are shown of each receipt."""


@app.command()
def history(
    unit: Annotated[str, typer.Argument(help="A unit's present key.")],
    catalogue: Home = HERE,
    readings: Annotated[
        bool, typer.Option("--readings", help="Compute the old readings again: which moved.")
    ] = False,
) -> None:
    """What changed in a unit's reviews since they were first taken in.

    Example: backbench history heron-40 --readings -c my-catalogue
    """
    from backbench.maintenance.history import history as told
    from backbench.reports.progress_bars import watched

    places = opened(catalogue).places
    if not readings:
        entries = told(places, unit, with_readings=False)
    else:
        with places.changing(), watched("computing old readings") as watch:
            entries = told(
                places, unit, with_readings=True, started=watch.started, progress=watch.progress
            )
    for entry in entries:
        _show(entry)
    former = sorted(old for old in places.settings.aliases if
                    places.settings.unit_key(old) == unit)  # fmt: skip
    if former:
        typer.echo(f"Also under its former keys: {', '.join(former)}.")


def _show(entry: Entry) -> None:
    receipt = entry.receipt
    typer.echo(f"receipt {receipt.number}, review {receipt.review} of {entry.reviewed}")
    for change in entry.changes or ("the same content again",):
        typer.echo(f"  {change}")
    if entry.moved is None:
        return
    typer.echo(f"  {len(entry.moved)} readings moved" + (":" if entry.moved else ""))
    for one in entry.moved[:FEW]:
        was, now = ("none" if v is None else f"{v:.6g}" for v in (one.before, one.after))
        typer.echo(f"    {one.output} {one.metric} ({one.conditions}): {was} is now {now}")
    if len(entry.moved) > FEW:
        typer.echo(f"    and {len(entry.moved) - FEW} more")


@app.command()
def withdraw(
    review: Annotated[str, typer.Argument(help="A review's key.")],
    catalogue: Home = HERE,
    reason: Annotated[str | None, typer.Option(help="Why; kept in the ledger.")] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Take a withdrawn review back.")] = False,
    dry_run: DryRun = False,
) -> None:
    """Leave a review out of the database without losing it; `--undo` takes it back.

    Example: backbench withdraw 2024-05-heron --reason "wrong load" -c my-catalogue
    """
    from backbench.errors import Fault, UserError
    from backbench.maintenance import corrections

    home = opened(catalogue)
    if not undo and not reason:
        raise UserError("nothing is withdrawn", [Fault("--reason", "nothing", "why, in words")])
    if dry_run:
        typer.echo(f"would {'take back' if undo else 'withdraw'} {review}; its originals stay")
        return
    with home.places.changing():
        if undo:
            corrections.take_back(home.places, review)
        else:
            corrections.withdraw(home.places, review, str(reason))
    if undo:
        home.recompute(history=False)
    typer.echo(f"{review} {'is back' if undo else 'is withdrawn; its originals stay'}.")


@app.command()
def rename(
    old: Annotated[str, typer.Argument(help="A unit's present key.")],
    new: Annotated[str, typer.Argument(help="Its new key; of another unit, to merge the two.")],
    catalogue: Home = HERE,
    dry_run: DryRun = False,
) -> None:
    """Give a unit another key in every review, past ones too; manifests stay as they are.

    Example: backbench rename heron-40-b heron-40 -c my-catalogue
    """
    from backbench.documents.file_names import SETTINGS_NAME
    from backbench.maintenance.corrections import rename_unit

    home = opened(catalogue)
    text = rename_unit(home.places, old, new)
    if dry_run:
        typer.echo(f"would read unit {old} as {new} in every review")
        return
    path: Path = home.places.root / SETTINGS_NAME
    path.write_text(text, encoding="utf-8")
    outcomes, refused = home.recompute(history=False)
    changed = [outcome.review for outcome in outcomes if not outcome.unchanged]
    typer.echo(f"{old} is now {new}: {', '.join(changed) or 'no review'} read again.")
    for item in refused:
        typer.echo(f"{item.source}: {item.error}", err=True)
