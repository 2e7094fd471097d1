"""Pools of worker processes, and what keeps them from starting."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

from backbench.errors import Fault, UserError
from backbench.storage.process_life import begin_copied, begin_watched

SHARED_MEMORY = "/dev/shm"
THREADS = Path("/proc/self/task")


def started_pool(
    processes: int, begin: Callable[..., None], arguments: tuple[Any, ...]
) -> ProcessPoolExecutor:
    """A pool whose processes end with this one, and each begin by calling a function of a module.

    Raises UserError where the system has no room for the locks that they share.
    """
    # Threads of the parent (database, orchestrator) make a plain fork unsafe.
    context = multiprocessing.get_context("spawn")
    try:
        named = (os.getpid(), begin.__module__, begin.__name__, arguments)
        return ProcessPoolExecutor(processes, context, begin_watched, named)
    except OSError as error:
        fault = Fault(
            f"shared memory ({SHARED_MEMORY})", error.strerror or str(error),
            "room for the locks of worker processes", "make it larger, or use --processes 1",
        )  # fmt: skip
        raise UserError("worker processes can't be started", [fault]) from None


def copied_process(
    begin: Callable[..., None], arguments: tuple[Any, ...]
) -> ProcessPoolExecutor | None:
    """A pool of one process that is a copy of this one, under way; else as `started_pool` has it.

    It is there sooner than one that is started anew. None where this process has threads already,
    which a copy would lack, or where the system has no room.
    """
    try:
        if len(os.listdir(THREADS)) > 1:
            return None
        named = (os.getpid(), begin.__module__, begin.__name__, arguments)
        context = multiprocessing.get_context("fork")
        pool = ProcessPoolExecutor(1, context, begin_copied, named)
        # A process of a pool is there from the first thing that it is asked.
        pool.submit(os.getpid)
    except OSError:
        return None
    return pool


def end_at_once(pool: ProcessPoolExecutor) -> None:
    """End the processes of a pool whatever they are doing; nobody waits for their answers."""
    # From 3.14 on, terminate_workers does it.
    for process in [*(pool._processes or {}).values()]:
        process.terminate()
    pool.shutdown(wait=False, cancel_futures=True)
