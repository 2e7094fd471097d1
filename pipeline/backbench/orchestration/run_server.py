"""The orchestrator's server: on loopback, in a process of its own, its home in the catalogue.

It starts while there is other work to do. Its database goes through a hundred migrations when it
is new, so that a machine keeps an empty one for the next catalogue.
"""

from __future__ import annotations

import atexit
import os
import secrets
import shutil
import socket
import sqlite3
import subprocess
import sys
import time
from contextlib import closing, suppress
from importlib import metadata
from pathlib import Path
from urllib.parse import urlsplit

from platformdirs import user_cache_path

from backbench.errors import Fault, UserError
from backbench.orchestration.server_process import LOOPBACK, LOOPBACK_NAMES
from backbench.storage.scratch import clear_left, scratch_folder

PATIENCE_S = 120.0
CALL_S = 3.0
ADDRESS = "PREFECT_API_URL"
DATABASE = "prefect.db"
ONLY_FOR_SCHEDULES = (
    "CANCELLATION_CLEANUP", "CLEANUP_RECONCILER", "FOREMAN", "LATE_RUNS", "PAUSE_EXPIRATIONS",
    "REPOSSESSOR", "SCHEDULER", "TRIGGERS",
)  # fmt: skip
"""Services of the orchestrator that a server for one run has nothing to do with."""
DAMAGED = "damaged-"
"""Beginning of the name of a run history that could not be read."""


class RunServer:
    """A server that is starting. It ends with this process, after all that is to be recorded."""

    def __init__(self, home: Path, *, port: int | None = None, page: bool = False) -> None:
        """home: where the run history is kept. page: serve the page that shows it, too.

        Raises UserError where the port is taken. To be made before the orchestrator is imported,
        which reads the environment that is set here.
        """
        self.port = _free_port() if port is None else port
        self.address = f"http://{LOOPBACK}:{self.port}"
        if self._answers():
            fault = Fault(f"port {port}", "in use", "a free port", "name another one with --port")
            raise UserError("the orchestrator's server can't be started", [fault])
        configure(home)
        os.environ[ADDRESS] = os.environ["PREFECT_UI_API_URL"] = f"{self.address}/api"
        self.password = _require_password()
        os.environ["PREFECT_UI_ENABLED"] = str(page).lower()
        self._database = home / DATABASE
        _set_aside_damaged(self._database)
        self._new = not self._database.exists()
        if self._new:
            _copy_prepared(self._database)
        self._process = subprocess.Popen(
            [sys.executable, "-m", "backbench.orchestration.server_process",
             str(self.port), str(os.getpid())],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            env={**({} if page else self._settings_of_one_run()), **os.environ},
        )  # fmt: skip
        # What is called at exit first was registered last: the orchestrator's own farewell.
        atexit.register(self.stop)

    def wait(self) -> None:
        """Until it answers. Raises UserError where it doesn't."""
        give_up = time.monotonic() + PATIENCE_S
        while not self._answers():
            if self._process.poll() is not None or time.monotonic() > give_up:
                _prepared().unlink(missing_ok=True)
                fault = Fault(
                    self.address, "no answer", "a server that starts", "run again, or use --direct"
                )
                raise UserError("the orchestrator's server did not start", [fault])
            time.sleep(0.05)
        if self._new:
            _keep_prepared(self._database)
            self._new = False

    def stop(self) -> None:
        """End the server; what it has been told is on the disk."""
        self._process.terminate()
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()

    def _settings_of_one_run(self) -> dict[str, str]:
        """What a server does without that records a run and ends with it: it is there sooner."""
        names = [f"PREFECT_SERVER_SERVICES_{name}_ENABLED" for name in ONLY_FOR_SCHEDULES]
        if _steps(self._database) == _steps(_prepared(), unwritten=True) != []:
            names.append("PREFECT_SERVER_DATABASE_MIGRATE_ON_START")
        return dict.fromkeys(names, "false")

    def _answers(self) -> bool:
        return _answers(LOOPBACK, self.port)


_own: list[RunServer] = []
"""The server of this process, of which the orchestrator knows one at most."""


def at_hand(home: Path) -> None:
    """Have a server for this process: one named by PREFECT_API_URL, or one that starts now."""
    if ADDRESS in os.environ:
        configure(home)
    else:
        _own.append(RunServer(home))


def awaited() -> None:
    """Wait for the server of this process. Raises UserError where it, or one named, is silent."""
    for server in _own:
        server.wait()
    named = urlsplit(os.environ[ADDRESS])
    port = named.port or {"https": 443}.get(named.scheme, 80)
    if not _answers(named.hostname or "", port):
        fault = Fault(ADDRESS, f"no answer at {named.geturl()}", "a server that runs",
                      "start it, unset the variable, or use --direct")  # fmt: skip
        raise UserError("the run could not be recorded", [fault])


def configure(home: Path) -> None:
    """Settings of the orchestrator. Nothing looks outside; a home of its own."""
    home.mkdir(parents=True, exist_ok=True)
    for name, value in (
        ("PREFECT_HOME", str(home.resolve())),
        ("PREFECT_SERVER_ANALYTICS_ENABLED", "false"),
        ("PREFECT_SERVER_REGISTER_BLOCKS_ON_START", "false"),
        ("DO_NOT_TRACK", "1"),
        ("PREFECT_LOGGING_LEVEL", "ERROR"),
        # The command line tells errors itself; the run history keeps the rest.
        ("PREFECT_LOGGING_HANDLERS_CONSOLE_LEVEL", "CRITICAL"),
        ("PREFECT_SERVER_LOGGING_LEVEL", "ERROR"),
        ("PREFECT_CLI_PROMPT", "false"),
    ):
        os.environ.setdefault(name, value)
    _keep_loopback_from_proxies()
    # Kept results would be pickles, which run what is in them when they are read.
    os.environ["PREFECT_RESULTS_PERSIST_BY_DEFAULT"] = "false"


def _require_password() -> str:
    """A new one for each server: whoever is to use it was started by this process, or reads it
    on the screen.
    """
    password = f"backbench:{secrets.token_urlsafe(18)}"
    os.environ["PREFECT_API_AUTH_STRING"] = password
    os.environ["PREFECT_SERVER_API_AUTH_STRING"] = password
    return password


def _keep_loopback_from_proxies() -> None:
    """Requests to this machine never go to a proxy, whatever the environment names."""
    for name in ("NO_PROXY", "no_proxy"):
        named = [part for part in os.environ.get(name, "").split(",") if part.strip()]
        lacking = [host for host in LOOPBACK_NAMES if host not in named]
        os.environ[name] = ",".join([*named, *lacking])


def _answers(host: str, port: int) -> bool:
    try:
        with socket.create_connection((host, port), timeout=CALL_S):
            return True
    except OSError:
        return False


def _free_port() -> int:
    with socket.socket() as one:
        one.bind((LOOPBACK, 0))
        return int(one.getsockname()[1])


def _prepared() -> Path:
    """The empty database that this machine keeps for the orchestrator's version."""
    return user_cache_path("backbench") / f"runs-{metadata.version('prefect')}.db"


def _copy_prepared(database: Path) -> None:
    """A copy of the empty database, whole or not at all; without one the server makes its own."""
    with suppress(OSError), scratch_folder(database.parent) as folder:
        aside = folder / DATABASE
        shutil.copyfile(_prepared(), aside)
        if _sound(aside):
            aside.replace(database)
        else:
            _prepared().unlink(missing_ok=True)


def _sound(database: Path) -> bool:
    """Whether a database can be read from end to end."""
    try:
        with closing(_looked_into(database)) as opened:
            return opened.execute("PRAGMA quick_check").fetchall() == [("ok",)]
    except sqlite3.OperationalError:
        # In use, or not to be opened now: that says nothing of its content.
        return True
    except sqlite3.DatabaseError:
        return False


def _steps(database: Path, *, unwritten: bool = False) -> list[tuple[str]]:
    """The migrations that a database of the orchestrator has behind it; none where it is silent.

    unwritten: nobody writes it, so that looking leaves no file beside it.
    """
    with suppress(sqlite3.Error), closing(_looked_into(database, unwritten=unwritten)) as opened:
        return opened.execute("SELECT version_num FROM alembic_version").fetchall()
    return []


def _looked_into(database: Path, *, unwritten: bool = False) -> sqlite3.Connection:
    more = "&immutable=1" if unwritten else ""
    return sqlite3.connect(f"{database.resolve().as_uri()}?mode=ro{more}", uri=True)


def _set_aside_damaged(database: Path) -> None:
    """A run history that can't be read is kept under another name, and a new one is begun."""
    if not database.exists() or _sound(database):
        return
    for ending in ("-wal", "-shm"):
        database.with_name(database.name + ending).unlink(missing_ok=True)
    database.replace(database.with_name(f"{DAMAGED}{database.name}"))


def _keep_prepared(database: Path) -> None:
    """Keep a copy of a database that has no run yet. It is a matter of speed alone."""
    prepared = _prepared()
    if prepared.exists():
        return
    with suppress(OSError, sqlite3.Error):
        prepared.parent.mkdir(parents=True, exist_ok=True)
        clear_left(prepared.parent)
        with scratch_folder(prepared.parent) as folder:
            aside = folder / prepared.name
            with (
                closing(sqlite3.connect(database)) as source,
                closing(sqlite3.connect(aside)) as to,
            ):
                source.backup(to)
            aside.replace(prepared)
