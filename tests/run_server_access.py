"""The orchestrator's server as tests start it, and requests to it."""

from __future__ import annotations

import base64
import urllib.request

COUNT = "/api/flow_runs/count"
STARTED = """
import sys, time
from pathlib import Path
from backbench.orchestration.run_server import RunServer
server = RunServer(Path(sys.argv[1]))
server.wait()
print(server._process.pid, server.address, server.password, flush=True)
time.sleep(900)
"""
"""Code that starts a server with a home and tells its process, address and password."""


def authorization(password: str) -> str:
    """The header's value for a password written as user:password."""
    return "Basic " + base64.b64encode(password.encode()).decode()


def count_request(address: str, password: str = "", **headers: str) -> urllib.request.Request:
    """A request for the number of runs."""
    sent = {"Content-Type": "application/json", **headers}
    if password:
        sent["Authorization"] = authorization(password)
    return urllib.request.Request(address + COUNT, b"{}", sent)
