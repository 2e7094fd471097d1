"""The orchestrator's server: its prepared database, and that it ends with whoever started it."""

from __future__ import annotations

import os
import socket
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from backbench.errors import UserError
from backbench.orchestration import run_server
from backbench.orchestration.run_server import RunServer, _set_aside_damaged, _steps, awaited
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
    left = {path.name: path.read_bytes() for path in prepared.parent.iterdir()}
    assert _steps(prepared, unwritten=True) == _steps(home / "prefect.db") != []
    assert {path.name: path.read_bytes() for path in prepared.parent.iterdir()} == left
    assert _steps(tmp_path / "none.db") == []
    result = tables(prepared)
    assert result["alembic_version"] == 1
    assert result["flow_run"] == result["task_run"] == 0
    assert result.keys() == tables(home / "prefect.db").keys()
    starter.kill()
    starter.wait()
    give_up = time.monotonic() + 60
    while alive(server) and time.monotonic() < give_up:
        time.sleep(0.2)
    assert not alive(server)


def test_a_taken_port_is_reported(tmp_path: Path) -> None:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        one.listen()
        with pytest.raises(UserError) as raised:
            RunServer(tmp_path, port=one.getsockname()[1])
    assert "in use" in str(raised.value)
    assert not list(tmp_path.iterdir())


def test_a_named_server_that_is_silent_is_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = one.getsockname()[1]
    monkeypatch.setenv("PREFECT_API_URL", f"http://127.0.0.1:{port}/api")
    with pytest.raises(UserError) as raised:
        awaited()
    assert "--direct" in str(raised.value)


def history(path: Path) -> None:
    """A database of some pages, as a run history is."""
    with closing(sqlite3.connect(path)) as opened, opened:
        opened.execute("CREATE TABLE run (name TEXT)")
        opened.executemany("INSERT INTO run VALUES (?)", [("x" * 500,)] * 200)


@pytest.mark.parametrize("damage", ["cut short", "other bytes"])
def test_a_damaged_run_history_is_set_aside(tmp_path: Path, damage: str) -> None:
    path = tmp_path / "prefect.db"
    history(path)
    sound = path.read_bytes()
    _set_aside_damaged(path)
    assert path.read_bytes() == sound
    path.write_bytes(sound[: len(sound) // 2] if damage == "cut short" else b"x" * len(sound))
    _set_aside_damaged(path)
    assert [one.name for one in tmp_path.iterdir()] == ["damaged-prefect.db"]


def test_a_history_in_use_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "prefect.db"
    history(path)
    with closing(sqlite3.connect(path, isolation_level=None)) as user:
        user.execute("BEGIN EXCLUSIVE")
        _set_aside_damaged(path)
    assert [one.name for one in tmp_path.iterdir()] == ["prefect.db"]


def test_a_damaged_prepared_database_is_not_copied(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    prepared, home = tmp_path / "prepared.db", tmp_path / "home"
    home.mkdir()
    monkeypatch.setattr(run_server, "_prepared", lambda: prepared)
    history(prepared)
    run_server._copy_prepared(home / "prefect.db")
    assert (home / "prefect.db").read_bytes() == prepared.read_bytes()
    (home / "prefect.db").unlink()
    prepared.write_bytes(prepared.read_bytes()[:5000])
    run_server._copy_prepared(home / "prefect.db")
    assert not prepared.exists()
    assert not list(home.iterdir())
