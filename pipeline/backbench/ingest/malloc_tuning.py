"""Memory of processes that analyse: kept when it is freed, and in large pages."""

from __future__ import annotations

import ctypes
import os
import sys

_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
"""Names of glibc's malloc.h, for mallopt."""
KEPT_BYTES, APART_BYTES = 2**28, 2**25
"""Free memory that is kept, and size from which an array is handed back as soon as it is freed."""


LARGE_PAGES = "GLIBC_TUNABLES", "glibc.malloc.hugetlb=1"
"""Name and value in the environment by which glibc asks for pages of 2 MB (from 2.35 on)."""


def ask_large_pages() -> None:
    """Have processes that are started from now on ask the system for memory in large pages.

    An analysis goes through arrays of megabytes: of small pages it waits a tenth of its time for
    where each lies. Memory that is in use doesn't grow by it. Does nothing where the environment
    already tunes the C library, or that isn't glibc.
    """
    os.environ.setdefault(*LARGE_PAGES)


def keep_freed() -> None:
    """Have a process that analyses captures one after another keep what it frees between them.

    Given back to the system and asked for anew, every page of it costs a fault: up to a third of
    an analysis. The process grows no larger than its largest capture makes it either way. Does
    nothing where the C library isn't glibc.
    """
    if sys.platform != "linux":
        return
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is not None:
        mallopt(_TRIM_THRESHOLD, KEPT_BYTES)
        mallopt(_MMAP_THRESHOLD, APART_BYTES)
