"""The demonstration's command."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from backbench.commands.common import SET_UP, Processes, app


@app.command(rich_help_panel=SET_UP)
def demo(
    folder: Annotated[Path, typer.Argument(help="A new or empty folder.")] = Path("backbench-demo"),
    processes: Processes = None,
) -> None:
    """Try backbench on an invented catalogue of many kinds of unit: ingest, compare and draw it.

    Example: backbench demo
    """
    from backbench.demo import run_demo

    run_demo(folder, processes)
