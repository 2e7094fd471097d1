"""Work done in a fork of this process, broken off where that is asked for."""

from __future__ import annotations

import importlib
import json
import os
import pkgutil
import signal
import threading
import traceback
from collections.abc import Callable
from typing import Any

import backbench
from backbench.errors import UserError
from backbench.metrics.registry import registry
from backbench.storage import fault_injection

Told = Callable[[Any], None]
SCIPY = ("fft", "interpolate", "io", "linalg", "optimize", "signal", "sparse.linalg", "special")
NOT_IN_FORKS = ("backbench.orchestration", "backbench.cli", "backbench.commands")
"""Packages that no fork uses, and that are slow to import or use threads."""


def import_what_forks_use() -> None:
    """What is imported late is imported here once, and not by every fork anew."""
    registry()
    for name in SCIPY:
        importlib.import_module(f"scipy.{name}")
    for module in pkgutil.iter_modules(backbench.__path__, "backbench."):
        if module.ispkg and module.name not in NOT_IN_FORKS:
            for inner in pkgutil.iter_modules(importlib.import_module(module.name).__path__):
                importlib.import_module(f"{module.name}.{inner.name}")


def in_fork(
    work: Callable[[Told], None], fault: str = "", kill_after: float | None = None
) -> tuple[int, list[Any]]:
    """Run in a child: its wait status, and what it told before it ended."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        _child(work, fault, reading, writing)
    os.close(writing)
    timer = threading.Timer(kill_after, os.kill, [child, signal.SIGKILL]) if kill_after else None
    if timer:
        timer.start()
    with os.fdopen(reading, "r") as stream:
        messages = [json.loads(line) for line in stream if line.endswith("\n")]
    if timer:
        timer.cancel()
        timer.join()
    _, status = os.waitpid(child, 0)
    return status, messages


def _child(work: Callable[[Told], None], fault: str, reading: int, writing: int) -> None:
    def tell(content: Any) -> None:
        os.write(writing, (json.dumps(content) + "\n").encode())

    try:
        os.close(reading)
        os.environ[fault_injection.VARIABLE] = fault or "none:0:kill"
        work(tell)
        tell({"points": fault_injection.passed.total(), "names": dict(fault_injection.passed)})
    except (UserError, OSError) as error:
        tell({"refused": str(error), "points": 0})
    except BaseException:
        tell({"error": traceback.format_exc()})
    finally:
        os._exit(0)
