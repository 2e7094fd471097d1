"""The command line: the one place that prints errors and sets the exit code."""

from __future__ import annotations

import codecs
import gc
import io
import os
import sys

import typer

from backbench.commands import (
    backfill,
    bench,
    bench_day,
    browse,
    calibrate,
    check,
    compare,
    demo,
    export,
    history,
    ingest,
    maintenance,
    new,
    publish,
    watch,
)
from backbench.commands.common import app
from backbench.commands.late_commands import late
from backbench.errors import UserError
from backbench.reports import plain_signs
from backbench.storage.process_life import gone_at_once, stop_on_terminate
from backbench.storage.query_limits import end_when_overdue
from backbench.storage.scratch import clear_left

GROUPS = (
    ingest, bench, calibrate, new, bench_day, check, watch, backfill, browse, compare,
    publish, export, history, maintenance, demo,
)  # fmt: skip
"""In the order in which the help lists the commands of one panel."""
MODULES = [group.__name__ for group in GROUPS]
app.registered_commands[:] = map(late, app.registered_commands)
app.registered_commands.sort(key=lambda command: MODULES.index(str(command.callback.__module__)))


LOOKED_AFTER = 50_000
"""New objects after which Python looks for garbage; the usual 700 suit programs that stay small."""


def main() -> None:
    """Run the command line.

    Exit codes: 0 done, 1 an error that the user can correct, 2 wrong usage, 3 done in part, 4 (with
    --check only) a specification not met or a bench that has drifted.
    """
    # Looking for other packages' additions to the library takes longer than reading a document.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    # Nor are modules garbage: to look through them while more are loaded takes a tenth of the time.
    gc.freeze()
    gc.set_threshold(LOOKED_AFTER, *gc.get_threshold()[1:])
    with gone_at_once():
        _carry_out()


def _carry_out() -> None:
    """What the command line asks for, with its errors told."""
    end_when_overdue()
    stop_on_terminate()
    write_on_any_terminal()
    clear_left()
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
        typer.echo("stopped; finished work is kept, run the same command to continue", err=True)
        sys.exit(130)


def write_on_any_terminal() -> None:
    """Write signs that the terminal's character set lacks with others, where it is not UTF-8."""
    plain_signs.register()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            is_ascii = codecs.lookup(stream.encoding).name == "ascii"
            stream.reconfigure(
                encoding=plain_signs.ASCII if is_ascii else None, errors=plain_signs.HANDLER
            )
