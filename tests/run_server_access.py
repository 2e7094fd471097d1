"""Requests to the orchestrator's server, with its password or without."""

from __future__ import annotations

import base64
import urllib.request

COUNT = "/api/flow_runs/count"


def authorization(password: str) -> str:
    """The header's value for a password written as user:password."""
    return "Basic " + base64.b64encode(password.encode()).decode()


def count_request(address: str, password: str = "", **headers: str) -> urllib.request.Request:
    """A request for the number of runs."""
    sent = {"Content-Type": "application/json", **headers}
    if password:
        sent["Authorization"] = authorization(password)
    return urllib.request.Request(address + COUNT, b"{}", sent)
