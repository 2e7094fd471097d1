"""A lock of one process at a time, alone or in turn.

The system's own lock on a file: it goes with the process, however that ends.
"""

from __future__ import annotations

import errno
import fcntl
import os
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

POLL_S = 0.02
NEXT = ".next"


class Held(Exception):
    """Another process holds a lock for longer than one waits."""


@contextmanager
def held(path: Path, patience_s: float) -> Iterator[None]:
    """Hold a lock file, after waiting for so long at the most. Raises Held, OSError."""
    until = time.monotonic() + patience_s
    while (handle := _taken(path)) is None:
        if time.monotonic() >= until:
            raise Held(str(path))
        time.sleep(POLL_S)
    try:
        yield
    finally:
        _let_go(handle)


@contextmanager
def turn(path: Path, patience_s: float) -> Iterator[None]:
    """Hold a lock file, after waiting for so long at the most. Raises Held, OSError.

    Who waits holds a second file, the place of the next: a process that has just let the lock go
    and wants it again is behind whoever waited meanwhile.
    """
    until = time.monotonic() + patience_s
    with ExitStack() as own:
        with held(path.with_name(path.name + NEXT), patience_s):
            own.enter_context(held(path, until - time.monotonic()))
        yield


def _taken(path: Path) -> int | None:
    """The handle of the file with its lock; None where somebody else has it. Raises OSError."""
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        if os.fstat(handle).st_nlink:
            return handle
    except OSError as error:
        if error.errno not in (errno.EWOULDBLOCK, errno.EACCES):
            os.close(handle)
            raise
    # Held by somebody else, or removed since it was opened: the next lock is another file's.
    os.close(handle)
    return None


def _let_go(handle: int) -> None:
    """Unlock before closing: a process begun meanwhile may have the file open too."""
    with suppress(OSError):
        fcntl.flock(handle, fcntl.LOCK_UN)
    os.close(handle)
