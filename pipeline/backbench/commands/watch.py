"""The command that waits for reviews: watch."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from backbench.commands.common import HERE, INGEST, Home, app, opened
from backbench.commands.quantity_options import quantity
from backbench.errors import Fault, UserError


@app.command(rich_help_panel=INGEST)
def watch(
    inbox: Annotated[Path, typer.Argument(help="The folder that review folders are copied into.")],
    catalogue: Home = HERE,
    every_s: Annotated[
        float,
        quantity("--every-s", "s", 'Time between checks of the inbox, such as "2 s".', least=2),
    ] = 30.0,
    settle_s: Annotated[
        float,
        quantity(
            "--settle-s",
            "s",
            "Time that a folder must stay unchanged before it is ingested.",
            least=0,
        ),
    ] = 20.0,
    site: Annotated[bool, typer.Option(help="Publish the site again after each change.")] = True,
    port: Annotated[
        int | None,
        typer.Option(
            min=1024,
            max=65535,
            help="Port of the orchestrator's page, on this machine only; a free one if left out.",
        ),
    ] = None,
) -> None:
    """Ingest review folders as they appear in an inbox, until stopped with Ctrl-C.

    A folder is ingested once it has stayed unchanged for a while.

    Runs, retries and their logs are shown on the orchestrator's page, on this machine only.

    Example: backbench watch inbox -c my-catalogue
    """
    home = opened(catalogue).places.root.resolve()
    if not inbox.is_dir():
        fault = Fault(str(inbox), "no such folder", "an existing folder", "create it first")
        raise UserError("the inbox does not exist", [fault])
    from backbench.orchestration.run_server import RunServer

    server = RunServer(home / ".runs", port=port, page=True)
    server.wait()
    typer.echo(
        f"Watching {inbox}. Runs are shown at {server.address}, on this machine only; "
        f"the page asks for this password: {server.password}"
    )
    from backbench.orchestration import flows

    flows.watch_inbox(home, inbox.resolve(), every_s, settle_s, site)
