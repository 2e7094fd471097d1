"""The command line: the one boundary that turns errors into words."""

from __future__ import annotations

import sys

import typer

from backbench.commands import (
    backfill,
    bench_day,
    browse,
    compare,
    demo,
    export,
    history,
    ingest,
    maintenance,
    publish,
    watch,
)
from backbench.commands.common import app
from backbench.errors import UserError
from backbench.storage.query_limits import end_when_overdue

GROUPS = (
    ingest,
    bench_day,
    backfill,
    export,
    history,
    watch,
    compare,
    browse,
    publish,
    maintenance,
    demo,
)
"""Importing a group registers its commands, in the order that the help lists them."""


def main() -> None:
    """Run the command line. Exit codes: 0 well, 1 user's error, 2 usage, 3 done in part, 4 not met.

    4 is given only where --check asks for it.
    """
    end_when_overdue()
    try:
        app()
    except UserError as error:
        typer.echo(str(error), err=True)
        sys.exit(1)
    except OSError as error:
        if isinstance(error, BrokenPipeError):
            sys.stderr.close()
            sys.exit(0)
        typer.echo(f"{error.filename or 'the disk'}: {error.strerror or error}", err=True)
        sys.exit(1)
    except KeyboardInterrupt:
        typer.echo("stopped; what was finished is kept, the same command carries on", err=True)
        sys.exit(130)
