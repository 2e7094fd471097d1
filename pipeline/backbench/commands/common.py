"""The application object, and options and helpers that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from backbench.errors import Fault, UserError

if TYPE_CHECKING:
    import polars as pl

    from backbench.catalogue import Catalogue
    from backbench.querying.saved_queries import SavedQuery

app = typer.Typer(
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="A hi-fi bench reviewer's captures, turned into one comparative database.",
)

Home = Annotated[
    Path,
    typer.Option("--catalogue", "-c", envvar="BACKBENCH_CATALOGUE", help="The catalogue's folder."),
]
Processes = Annotated[
    int | None, typer.Option(min=1, max=256, help="Worker processes; all cores where left out.")
]
Direct = Annotated[
    bool, typer.Option("--direct", help="Without the orchestrator: quicker, no run history.")
]
Settings = Annotated[
    list[str] | None,
    typer.Option("--set", "-s", help="A parameter of the query, as name=value; may be repeated."),
]
Format = Annotated[
    str, typer.Option("--format", "-f", help="table, csv, json, parquet or markdown.")
]
Size = Annotated[str, typer.Option(help="Pixels of a PNG: 1920x1080 or 3840x2160.")]
DryRun = Annotated[
    bool, typer.Option("--dry-run", help="Say what would be done, and write nothing.")
]
HERE = Path()
NOT_ALL_WELL = 3
"""Exit code where the command did its work, but some input was refused or failed."""


def opened(home: Path) -> Catalogue:
    """The catalogue in a folder."""
    from backbench.catalogue import Catalogue

    return Catalogue(home)


def assigned(settings: list[str] | None) -> dict[str, str]:
    """name=value options as a mapping. Raises UserError where one has no "="."""
    faults = [
        Fault("--set", repr(text), "name=value") for text in settings or () if "=" not in text
    ]
    if faults:
        raise UserError("a parameter can't be read", faults)
    pairs = (text.split("=", 1) for text in settings or ())
    return {name.strip(): value for name, value in pairs}


def show_frame(
    frame: pl.DataFrame, out_format: str, out: Path | None = None, query: SavedQuery | None = None
) -> None:
    from backbench.reports.terminal_tables import export

    export(frame, out_format, out, query)
