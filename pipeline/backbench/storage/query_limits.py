"""What a statement that a person wrote may take of the machine: time and memory.

The database heeds an interruption between blocks of rows and counts most of its memory itself.
One function that makes a huge text, or compares two, heeds neither: the process's own limits do.
"""

from __future__ import annotations

import os
import resource
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from backbench.quantities.writing import in_text

LIMIT_S = 60.0
GRACE_S = 5.0
MEMORY_BYTES = 2_500_000_000
"""Beyond what the process had: the database's own 2 GB, and what it does not count."""

overdue: list[Callable[[], None]] = []
"""What to do where a statement goes on GRACE_S after it was interrupted; nothing in a notebook."""


@contextmanager
def bounded(interrupt: Callable[[], None]) -> Iterator[threading.Event]:
    """Bounds around one statement; the event is set when it was interrupted."""
    late, done = threading.Event(), threading.Event()

    def watch() -> None:
        if done.wait(LIMIT_S):
            return
        late.set()
        interrupt()
        if not done.wait(GRACE_S):
            for act in overdue:
                act()

    threading.Thread(target=watch, daemon=True).start()
    try:
        with _memory:
            yield late
    finally:
        done.set()


def end_when_overdue() -> None:
    """From now on, a statement that can't be stopped ends this process, in words."""
    overdue[:] = [_end]


def _end() -> None:
    after = in_text(LIMIT_S + GRACE_S, "s")
    message = f"the query was stopped after {after}: one function would not end\n"
    sys.stderr.write(message)
    sys.stderr.flush()
    os._exit(1)


class _Memory:
    """The process's limit of address space, lowered while any statement runs."""

    def __init__(self) -> None:
        self._lock, self._running = threading.Lock(), 0
        self._before = (resource.RLIM_INFINITY, resource.RLIM_INFINITY)

    def __enter__(self) -> None:
        with self._lock:
            if self._running == 0:
                self._before = resource.getrlimit(resource.RLIMIT_AS)
                own = [limit for limit in self._before if limit != resource.RLIM_INFINITY]
                most = min([_address_space() + MEMORY_BYTES, *own])
                resource.setrlimit(resource.RLIMIT_AS, (most, self._before[1]))
            self._running += 1

    def __exit__(self, *_: object) -> None:
        with self._lock:
            self._running -= 1
            if self._running == 0:
                resource.setrlimit(resource.RLIMIT_AS, self._before)


_memory = _Memory()


def _address_space() -> int:
    with open("/proc/self/statm", encoding="ascii") as stream:
        return int(stream.read().split()[0]) * resource.getpagesize()
