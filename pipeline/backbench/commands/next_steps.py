"""The lines in which a command names what usually comes next."""

from __future__ import annotations

import os
import shlex
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from backbench.commands.common import CATALOGUE_VARIABLE, HERE

if TYPE_CHECKING:
    from backbench.catalogue import Catalogue


def next_step(*lines: str, catalogue: Path | None = None, err: bool = False) -> None:
    """Print commands, of which one comes next, as they are to be typed: each on its own line.

    catalogue: the one to name, where it isn't the one that a command takes by itself.
    """
    from backbench.reports.result_cells import printable

    where = _named(catalogue)
    for begins, line in zip(("Next:", *("  or:" for _ in lines)), lines, strict=False):
        typer.echo(printable(f"{begins} backbench {line}{where}"), err=err)


def word(text: object) -> str:
    """A word of a command line, in quotation marks where a shell needs them."""
    return shlex.quote(str(text))


def offer_recompute(home: Catalogue) -> bool:
    """A line where something in the database is out of date, with the command that mends it.

    Whether anything is.
    """
    from backbench.maintenance.out_of_date import out_of_date

    with home.reading() as store:
        lines = out_of_date(store, home.stale())
    for line in lines:
        typer.echo(f"out of date: {line}", err=True)
    if lines:
        next_step("recompute", catalogue=home.places.root, err=True)
    return bool(lines)


def _named(catalogue: Path | None) -> str:
    usual = Path(os.environ.get(CATALOGUE_VARIABLE) or HERE)
    if catalogue is None or catalogue == usual:
        return ""
    return f" -c {word(catalogue)}"
