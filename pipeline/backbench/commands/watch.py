"""The command that waits for reviews: watch."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from backbench.commands.common import HERE, Home, app, opened
from backbench.errors import Fault, UserError


@app.command()
def watch(
    inbox: Annotated[Path, typer.Argument(help="A folder that review folders are put into.")],
    catalogue: Home = HERE,
    every_s: Annotated[float, typer.Option(min=2, help="Seconds between looks.")] = 30.0,
    settle_s: Annotated[
        float, typer.Option(min=0, help="Seconds that a folder must have stayed unchanged.")
    ] = 20.0,
    site: Annotated[bool, typer.Option(help="Make the site anew after each change.")] = True,
    port: Annotated[int, typer.Option(min=1024, max=65535, help="Of the page, loopback.")] = 4200,
) -> None:
    """Ingest review folders as they appear and stay unchanged, until stopped with Ctrl-C.

    Runs, retries and their logs are seen on the orchestrator's page, on this machine only.

    Example: backbench watch inbox -c my-catalogue
    """
    home = opened(catalogue).places.root.resolve()
    if not inbox.is_dir():
        fault = Fault(str(inbox), "no folder", "a folder that is there", "make it first")
        raise UserError("there is nothing to watch", [fault])
    from backbench.orchestration.run_server import RunServer

    server = RunServer(home / ".runs", port=port, page=True)
    server.wait()
    typer.echo(f"Watching {inbox}; runs are seen at {server.address} (this machine only).")
    from backbench.orchestration import flows

    flows.watch_inbox(home, inbox.resolve(), every_s, settle_s, site)
