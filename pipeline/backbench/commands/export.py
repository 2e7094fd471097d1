"""Commands that give the catalogue away: export as open files, snapshot for other readers."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from backbench.commands.common import HERE, PUBLISH, DryRun, Home, app, opened
from backbench.quantities.counts import counted


@app.command(rich_help_panel=PUBLISH)
def export(
    folder: Annotated[Path, typer.Argument(help="A new or empty folder.")],
    catalogue: Home = HERE,
    dry_run: DryRun = False,
) -> None:
    """Write every table as Parquet and CSV, with a data dictionary and datapackage.json.

    Example: backbench export opened-catalogue -c my-catalogue
    """
    from backbench.export.open_package import export_catalogue
    from backbench.reports.progress_bars import watched

    home = opened(catalogue)
    with home.reading() as store, watched("writing tables") as watch:
        written = export_catalogue(
            store, folder, home.settings.title, dry=dry_run,
            started=watch.started, progress=watch.progress,
        )  # fmt: skip
    for name, rows in written:
        typer.echo(f"{'would write' if dry_run else 'wrote'} {name}: {counted(rows, 'row')}")


@app.command(rich_help_panel=PUBLISH)
def snapshot(
    folder: Annotated[
        Path, typer.Argument(help="A new or empty folder, or one that holds snapshots.")
    ],
    catalogue: Home = HERE,
) -> None:
    """Write a read-only copy of the database that other machines can query.

    Each snapshot is a folder of its own that is never changed again, with the DuckDB file, one
    Parquet file per table, and a README.md; the link "current" points to the newest.

    Example: backbench snapshot shared-readings -c my-catalogue
    """
    from backbench.export.snapshot import write_snapshot

    made = write_snapshot(opened(catalogue).places, folder)
    typer.echo(f"wrote {made}; {folder / 'current'} points to it")
