"""Where the processor's time of a run goes, told by the processes of the run themselves.

The command imports this file, Dask's workers are started with `--preload` of it. Functions of the
program are wrapped; what each takes, less what others within it take, is added to a file of the
process in the folder that BACKBENCH_METER names: a line "part seconds" a call.
"""

from __future__ import annotations

import functools
import hashlib
import os
import threading
import time
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

FOLDER = "BACKBENCH_METER"
FETCHED, HASHED, ANALYSED, PACKED = "fetched", "hashed", "analysed", "rows packed"
PLANNED, COPIED, SENT = "kept and planned", "copied to the storage", "sent"
RECEIVED, STAGED, LOADED = "received", "staged", "loaded"
WITHIN = threading.local()


def _tell(part: str, seconds: float) -> None:
    with (Path(os.environ[FOLDER]) / str(os.getpid())).open("a", encoding="utf-8") as file:
        file.write(f"{part}\t{seconds!r}\n")


class Metered:
    """A block whose time, less that of blocks within it, is told when it ends, or added up."""

    def __init__(self, part: str, clock: Callable[[], float] = time.thread_time) -> None:
        self.part, self.clock = part, clock

    def __enter__(self) -> None:
        self.outer, WITHIN.taken = getattr(WITHIN, "taken", 0.0), 0.0
        self.began = self.clock()

    def __exit__(self, *_: object) -> None:
        taken = self.clock() - self.began
        _tell(self.part, taken - WITHIN.taken)
        WITHIN.taken = self.outer + taken


class TimedHash:
    """A sha256 whose updates are timed; its time is told when it is asked for the digest."""

    def __init__(self, data: bytes = b"") -> None:
        self._digest, self._taken = hashlib.sha256(), 0.0
        self.update(data)

    def update(self, data: bytes) -> None:
        began = time.thread_time()
        self._digest.update(data)
        self._taken += time.thread_time() - began

    def hexdigest(self) -> str:
        _tell(HASHED, self._taken)
        WITHIN.taken = getattr(WITHIN, "taken", 0.0) + self._taken
        self._taken = 0.0
        return self._digest.hexdigest()


def wrap(place: Any, name: str, part: str, clock: Callable[[], float] = time.thread_time) -> None:
    """Have a function of a module or class metered."""
    function = getattr(place, name)

    @functools.wraps(function)
    def metered(*given: Any, **named: Any) -> Any:
        with Metered(part, clock):
            return function(*given, **named)

    setattr(place, name, metered)


def of_every_process() -> None:
    """What workers and the command do alike. Before the modules that import these names."""
    from backbench.ingest import analyse
    from backbench.storage import vault

    vault.hashlib = SimpleNamespace(sha256=TimedHash)  # type: ignore[attr-defined]
    wrap(analyse, "analyse", ANALYSED)
    wrap(analyse, "tables_of", PACKED)
    wrap(analyse, "leave_chunk", STAGED)


def of_a_worker() -> None:
    """A worker fetches originals; all other names it imports from modules that are metered."""
    of_every_process()
    from backbench.orchestration import dask_cluster

    wrap(dask_cluster, "fetch", FETCHED)


def of_the_command(on_cluster: bool) -> None:
    """The command plans and loads, and on a cluster sends chunks and takes their rows."""
    of_every_process()
    from backbench.ingest import run_ingest

    wrap(run_ingest, "planned_work", PLANNED)
    # The database works in threads of its own.
    wrap(run_ingest, "finish", LOADED, time.process_time)
    if not on_cluster:
        return
    from backbench.orchestration import dask_cluster, flows

    wrap(dask_cluster, "leave_chunk", STAGED)
    wrap(dask_cluster.Copies, "bring", COPIED)
    wrap(dask_cluster.Request, "__init__", SENT)
    wrap(flows.cluster_task, "submit", SENT)
    wrap(flows.ClusterAnswer, "result", RECEIVED)


def read_parts(folder: Path) -> dict[str, float]:
    """Seconds by part, of all processes of a run; the folder is empty afterwards."""
    parts: dict[str, float] = defaultdict(float)
    for file in sorted(folder.iterdir()):
        for line in file.read_text(encoding="utf-8").splitlines():
            part, _, seconds = line.partition("\t")
            parts[part] += float(seconds)
        file.unlink()
    return parts


def dask_setup(worker: Any) -> None:
    """Called by a worker that was started with `--preload` of this file."""
    of_a_worker()
