"""Memory that an analysis frees stays with the process, ready for the next one."""

from __future__ import annotations

import ctypes
import sys

_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
"""Names of glibc's malloc.h, for mallopt."""
KEPT_BYTES, APART_BYTES = 2**28, 2**25
"""Free memory that is kept, and size from which an array is handed back as soon as it is freed."""


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
