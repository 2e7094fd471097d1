"""The orchestrator's server: its prepared database, and that it ends with whoever started it."""

from __future__ import annotations

import os
import socket
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from backbench.errors import UserError
from backbench.orchestration.run_server import RunServer, awaited
from processes import alive
from run_server_access import STARTED


def tables(database: Path) -> dict[str, int]:
    with sqlite3.connect(database) as opened:
        names = opened.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        return {n: opened.execute(f'SELECT count(*) FROM "{n}"').fetchone()[0] for (n,) in names}


def test_a_server_leaves_an_empty_database_for_the_next_and_dies_with_its_starter(
    tmp_path: Path,
) -> None:
    home = tmp_path / "home"
    own = {**os.environ, "HOME": str(tmp_path), "XDG_CACHE_HOME": str(tmp_path / "cache")}
    own.pop("PREFECT_HOME", None)
    starter = subprocess.Popen(
        [sys.executable, "-c", STARTED, home], stdout=subprocess.PIPE, text=True, env=own
    )
    assert starter.stdout is not None
    with starter.stdout:
        server = int(starter.stdout.readline().split()[0])
    assert alive(server)
    (prepared,) = (tmp_path / "cache" / "backbench").iterdir()
    found = tables(prepared)
    assert found["alembic_version"] == 1
    assert found["flow_run"] == found["task_run"] == 0
    assert found.keys() == tables(home / "prefect.db").keys()
    starter.kill()
    starter.wait()
    give_up = time.monotonic() + 60
    while alive(server) and time.monotonic() < give_up:
        time.sleep(0.2)
    assert not alive(server)


def test_a_taken_port_is_told(tmp_path: Path) -> None:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        one.listen()
        with pytest.raises(UserError) as told:
            RunServer(tmp_path, port=one.getsockname()[1])
    assert "in use" in str(told.value)
    assert not list(tmp_path.iterdir())


def test_a_named_server_that_is_silent_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = one.getsockname()[1]
    monkeypatch.setenv("PREFECT_API_URL", f"http://127.0.0.1:{port}/api")
    with pytest.raises(UserError) as told:
        awaited()
    assert "--direct" in str(told.value)
