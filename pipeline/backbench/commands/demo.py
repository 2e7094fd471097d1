"""The demonstration's command."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from backbench.commands.common import Processes, app


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(help="A new or empty folder.")] = Path("backbench-demo"),
    processes: Processes = None,
) -> None:
    """Make, ingest, compare and draw the invented scenario. Example: backbench demo"""
    from backbench.demo import run_demo

    run_demo(folder, processes)
