"""No process that works for another one outlives it."""

from __future__ import annotations

import atexit
import importlib
import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

LOOK_S = 0.5
"""How often a process looks whether its starter still lives."""
GRACE_S = 3.0
"""How long a process that was asked to end may take."""


def end_with(parent: int) -> None:
    """End this process soon after the process that started it, however that one ended.

    parent: its number, as this process saw it when it began (``os.getppid()``). A process that
    is killed can tell nobody, so that whoever works for it has to look.
    """
    threading.Thread(target=_end_after, args=(parent,), daemon=True).start()


def _end_after(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(LOOK_S)
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(GRACE_S)
    os._exit(1)


def begin_watched(parent: int, module: str, name: str, arguments: tuple[Any, ...]) -> None:
    """End with the parent from now on; then call a function, by its name.

    A function handed over itself would have its module imported, which takes seconds, before
    anything here could look after the parent.
    """
    end_with(parent)
    getattr(importlib.import_module(module), name)(*arguments)


def begin_copied(parent: int, module: str, name: str, arguments: tuple[Any, ...]) -> None:
    """The same in a process that is a copy of its parent: signals end it, and it says nothing."""
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.SIG_DFL)
    begin_watched(parent, module, name, arguments)


def stop_on_terminate() -> None:
    """Have SIGTERM end this process as Ctrl-C does: what is open is closed, helpers end too."""

    def stop(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, stop)


@contextmanager
def gone_at_once() -> Iterator[None]:
    """Once the block is left and all is done that is to be done at the exit, the process is gone.

    Taking apart what is loaded, module by module, would take up to a fifth of a command's time,
    and nobody uses it any more. To be entered before anything that is to be done at the exit.
    """
    code = 1

    def leave() -> None:
        try:
            sys.stdout.flush()
            sys.stderr.flush()
        except (OSError, ValueError):
            # Python says what became of the output.
            return
        os._exit(code)

    atexit.register(leave)
    try:
        yield
        code = 0
    except SystemExit as asked:
        code = asked.code if isinstance(asked.code, int) else int(asked.code is not None)
        raise
