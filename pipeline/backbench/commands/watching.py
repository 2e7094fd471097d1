"""The command that waits for reviews: watch."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from backbench.commands.common import HERE, Home, app, opened
from backbench.errors import Fault, UserError

LOOPBACK = "127.0.0.1"
PATIENCE_S = 120.0


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
    with _server(home / ".runs", port) as address:
        typer.echo(f"Watching {inbox}; runs are seen at {address} (this machine only).")
        from backbench import flows

        flows.watch_inbox(home, inbox.resolve(), every_s, settle_s, site)


@contextmanager
def _server(runs: Path, port: int) -> Iterator[str]:
    """The orchestrator's server, bound to loopback, for as long as the block lasts."""
    address = f"http://{LOOPBACK}:{port}"
    if _answers(port):
        fault = Fault(f"port {port}", "in use", "a free port", "name another one with --port")
        raise UserError("the page can't be served", [fault])
    environment = {
        **os.environ, "PREFECT_HOME": str(runs), "PREFECT_SERVER_ANALYTICS_ENABLED": "false",
        "DO_NOT_TRACK": "1", "PREFECT_UI_API_URL": f"{address}/api",
        "PREFECT_SERVER_API_HOST": LOOPBACK, "PREFECT_LOGGING_LEVEL": "WARNING",
    }  # fmt: skip
    os.environ.update(environment)
    words = [sys.executable, "-m", "prefect", "server", "start", "--host", LOOPBACK,
             "--port", str(port)]  # fmt: skip
    server = subprocess.Popen(words, env=environment, stdout=subprocess.DEVNULL,
                              stderr=subprocess.DEVNULL)  # fmt: skip
    try:
        _await(server, port)
        os.environ["PREFECT_API_URL"] = f"{address}/api"
        yield address
    finally:
        server.terminate()
        try:
            server.wait(10)
        except subprocess.TimeoutExpired:
            server.kill()


def _await(server: subprocess.Popen[bytes], port: int) -> None:
    give_up = time.monotonic() + PATIENCE_S
    while not _answers(port):
        if server.poll() is not None or time.monotonic() > give_up:
            fault = Fault("the orchestrator's server", "no answer", "a server that starts")
            raise UserError("the inbox can't be watched", [fault])
        time.sleep(0.3)


def _answers(port: int) -> bool:
    with socket.socket() as one:
        one.settimeout(1.0)
        return one.connect_ex((LOOPBACK, port)) == 0
