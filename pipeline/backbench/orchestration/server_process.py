"""The process that the orchestrator's server runs in, and what it answers.

It answers requests that name this machine as their host and that come from its own page or from
no page at all: any page that a browser shows can send requests to a port of this machine.
"""

from __future__ import annotations

import sys
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from backbench.storage.process_life import end_with

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Any]]
Send = Callable[[Any], Awaitable[None]]
Application = Callable[[Scope, Receive, Send], Awaitable[None]]
LOOPBACK = "127.0.0.1"
LOOPBACK_NAMES = (LOOPBACK, "localhost", "::1")
SERVER = "prefect.server.api.server:create_app"
"""The orchestrator's application, named as its own command names it to the web server."""
REFUSED = 403


class OwnRequestsOnly:
    """Refuses requests with another host, or from a page of another origin."""

    def __init__(self, application: Application, port: int) -> None:
        self._application = application
        self._hosts = {f"{name}:{port}".encode() for name in LOOPBACK_NAMES}
        self._origins = {b"http://" + host for host in self._hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """An ASGI application."""
        if scope["type"] not in {"http", "websocket"} or self._is_own(scope["headers"]):
            await self._application(scope, receive, send)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
        else:
            await send({"type": "http.response.start", "status": REFUSED, "headers": []})
            await send({"type": "http.response.body", "body": b"not from here"})

    def _is_own(self, headers: list[tuple[bytes, bytes]]) -> bool:
        hosts = [value for name, value in headers if name == b"host"]
        origins = [value for name, value in headers if name == b"origin"]
        return (
            len(hosts) == 1 and hosts[0] in self._hosts and all(o in self._origins for o in origins)
        )


def serve(port: int, parent: int) -> None:
    """Run the server on loopback; it ends with the process that started it, parent."""
    end_with(parent)
    import uvicorn
    from uvicorn.importer import import_from_string

    application = OwnRequestsOnly(import_from_string(SERVER)(final=True), port)
    uvicorn.run(application, host=LOOPBACK, port=port, log_level="error", timeout_keep_alive=5)


if __name__ == "__main__":
    serve(int(sys.argv[1]), int(sys.argv[2]))
