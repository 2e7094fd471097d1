"""A lock of one process at a time, in turn."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock

POLL_S = 0.02
NEXT = ".next"


@contextmanager
def turn(path: Path, patience_s: float) -> Iterator[None]:
    """Hold a lock file, after waiting for so long at the most. Raises filelock.Timeout, OSError.

    Who waits holds a second file, the place of the next: a process that has just let the lock go
    and wants it again is behind whoever waited meanwhile.
    """
    until = time.monotonic() + patience_s
    lock = FileLock(path, poll_interval=POLL_S)
    with FileLock(path.with_name(path.name + NEXT), patience_s, poll_interval=POLL_S):
        lock.acquire(timeout=max(0.0, until - time.monotonic()))
    try:
        yield
    finally:
        lock.release()
