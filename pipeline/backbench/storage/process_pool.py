"""Pools of worker processes, and what keeps them from starting."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from typing import Any

from backbench.errors import Fault, UserError
from backbench.storage.process_life import begin_watched

SHARED_MEMORY = "/dev/shm"


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
