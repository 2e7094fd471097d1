"""Folders that are thrown away: at the end of the work, or by the next command.

A process that is killed removes nothing. Whoever makes such a folder holds a lock on it, which
goes with the process: a folder that nobody holds was left.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

SCRATCH = ".backbench-scratch-"
"""Beginning of the name of every such folder."""


@contextmanager
def scratch_folder(parent: Path | None = None) -> Iterator[Path]:
    """A new folder that is removed at the end. Raises OSError.

    parent: where it is to be, so that a file of it can be renamed to a place there; else where
    the system has its temporary files.
    """
    folder, handle = _held(parent or Path(tempfile.gettempdir()))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        os.close(handle)


def _held(parent: Path) -> tuple[Path, int]:
    """A new folder, and the handle that holds its lock."""
    while True:
        folder = Path(tempfile.mkdtemp(prefix=SCRATCH, dir=parent))
        with suppress(FileNotFoundError):
            handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
            if _locked(handle) and folder.exists():
                return folder, handle
            # Another command took it for one that was left: it came before the lock.
            os.close(handle)


def _locked(handle: int) -> bool:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        # A file system without locks: nobody else can lock it either, and so it is left alone.
        return True
    return True


def clear_left(parent: Path | None = None) -> None:
    """Remove the folders there that processes of this user left. What can't be removed stays."""
    place = parent or Path(tempfile.gettempdir())
    with suppress(OSError), os.scandir(place) as entries:
        for entry in entries:
            if entry.name.startswith(SCRATCH):
                with suppress(OSError):
                    _remove_unheld(place / entry.name)


def _remove_unheld(folder: Path) -> None:
    """Raises OSError where somebody holds it, or it is no folder."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
    try:
        if os.fstat(handle).st_uid == os.getuid():
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            shutil.rmtree(folder, ignore_errors=True)
    finally:
        os.close(handle)
