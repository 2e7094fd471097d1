"""The application object, and options and helpers that several commands share."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from backbench.commands.plain_values import read_plainly
from backbench.errors import Fault, UserError

if TYPE_CHECKING:
    import polars as pl

    from backbench.catalogue import Catalogue
    from backbench.querying.saved_queries import SavedQuery
    from backbench.storage.light_rows import LightRows

SET_UP = "Set up"
AT_THE_BENCH = "At the bench"
INGEST = "Ingest"
BROWSE = "Browse and query"
COMPARE = "Compare"
PUBLISH = "Publish and export"
CORRECT = "Correct"
MAINTENANCE = "Maintenance"
PANELS = (SET_UP, AT_THE_BENCH, INGEST, BROWSE, COMPARE, PUBLISH, CORRECT, MAINTENANCE)
"""The groups of the help, in the order of the work."""


class CommandGroups(TyperGroup):
    """The commands by panel, in plain text that any terminal shows."""

    def get_params(self, ctx: Any) -> list[Any]:
        """The options that stand before a command."""
        return read_plainly(super().get_params(ctx))

    def list_commands(self, ctx: typer.Context) -> list[str]:  # type: ignore[override]
        """Every command's name, in the order of the work."""
        return sorted(self.commands, key=lambda name: PANELS.index(self._panel(name)))

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """A section of the help for each panel, with the first sentence of each command's help."""
        names = self.list_commands(ctx)
        for panel in PANELS:
            rows = [
                (name, self.commands[name].get_short_help_str(LONGEST_SUMMARY))
                for name in names
                if self._panel(name) == panel
            ]
            with formatter.section(panel):
                formatter.write_dl(rows)

    def _panel(self, name: str) -> str:
        return str(getattr(self.commands[name], "rich_help_panel", None))


LONGEST_SUMMARY = 150
app = typer.Typer(
    cls=CommandGroups,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Turn the captures of every bench review into one database for comparing units.",
)

CATALOGUE_VARIABLE = "BACKBENCH_CATALOGUE"
Home = Annotated[
    Path,
    typer.Option("--catalogue", "-c", envvar=CATALOGUE_VARIABLE, help="The catalogue's folder."),
]
Folder = Annotated[Path, typer.Argument(help="A review's folder.")]
Processes = Annotated[
    int | None, typer.Option(min=1, max=256, help="Worker processes. Default: one per core.")
]
Direct = Annotated[
    bool,
    typer.Option(
        "--direct", help="Run without the orchestrator: faster, but no run history is kept."
    ),
]
Settings = Annotated[
    list[str] | None,
    typer.Option("--set", "-s", help="A query parameter, as name=value. May be repeated."),
]
Format = Annotated[
    str,
    typer.Option("--format", "-f", help="Output format: table, csv, json, parquet or markdown."),
]


def _set_wide(wide: bool) -> bool:
    from backbench.reports.terminal_tables import set_wide

    set_wide(wide)
    return wide


Out = Annotated[Path | None, typer.Option(help="Write to this file.")]
Wide = Annotated[
    bool,
    typer.Option(
        "--wide", callback=_set_wide, help="Show every column in full, wider than the terminal."
    ),
]
DryRun = Annotated[
    bool, typer.Option("--dry-run", help="Show what would be done without writing anything.")
]
HERE = Path()
PARTLY_DONE = 3
"""Exit code where the command did its work, but some input was refused or failed."""


def opened(home: Path, *, carry_on: bool = True) -> Catalogue:
    """The catalogue in a folder, after what earlier commands left is cleared away or carried on."""
    from backbench.catalogue import Catalogue
    from backbench.storage.scratch import clear_left

    catalogue = Catalogue(home)
    for folder in (catalogue.places.root, catalogue.places.runs):
        clear_left(folder)
    if carry_on:
        _carried_on(catalogue)
    return catalogue


def _carried_on(catalogue: Catalogue) -> None:
    from backbench.errors import UserError

    try:
        reviews, refused = catalogue.carry_on()
    except (UserError, OSError) as error:
        typer.echo(f"warning: what was broken off can't be carried on: {error}", err=True)
        return
    if reviews:
        typer.echo(f"Carried on with what was broken off: {', '.join(reviews)}.", err=True)
    for item in refused:
        typer.echo(f"{item.source} was not ingested: {item.error}", err=True)


def report_faulty_queries(home: Catalogue) -> bool:
    """Print a line for each of the catalogue's own queries that can't be used; whether any is."""
    from backbench.querying.saved_queries import left_out_lines

    lines = left_out_lines(home.faulty_queries())
    for line in lines:
        typer.echo(line, err=True)
    return bool(lines)


def assigned(settings: list[str] | None) -> dict[str, str]:
    """name=value options as a mapping. Raises UserError where one has no "="."""
    faults = [
        Fault("--set", repr(text), "name=value") for text in settings or () if "=" not in text
    ]
    if faults:
        raise UserError("a query parameter can't be read", faults)
    pairs = (text.split("=", 1) for text in settings or ())
    return {name.strip(): value for name, value in pairs}


def show_frame(
    frame: LightRows | pl.DataFrame, out_format: str, out: Path | None = None,
    query: SavedQuery | None = None, needed: Sequence[str] = (),
) -> None:  # fmt: skip
    from backbench.reports.export_formats import export

    export(frame, out_format, out, query, needed=needed)
