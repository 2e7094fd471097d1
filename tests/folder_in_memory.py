"""Where the tests write: a folder in memory where the system has one with room.

Every file that is kept is flushed to its disk, and a worker that waits for one computes nothing.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

IN_MEMORY = Path("/dev/shm")
ROOM_BYTES = 6e9
"""More than the files of a whole run take together."""


def write_into_memory() -> None:
    """Have this process and those that it starts write there, unless TMPDIR says where."""
    if "TMPDIR" not in os.environ and _has_room(IN_MEMORY):
        os.environ["TMPDIR"] = str(IN_MEMORY)
        tempfile.tempdir = None  # asked for again


def _has_room(folder: Path) -> bool:
    """Whether it is there, lets programs run, and both it and the memory have room."""
    try:
        about = os.statvfs(folder)
        memory = dict(line.split(":") for line in Path("/proc/meminfo").read_text().splitlines())
    except OSError:
        return False
    if about.f_flag & os.ST_NOEXEC or not os.access(folder, os.W_OK):
        return False
    available = 1024 * int(memory["MemAvailable"].split()[0])
    return min(about.f_bavail * about.f_frsize, available) >= ROOM_BYTES
