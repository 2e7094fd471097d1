"""Files of the user, opened once: regular files only, and no larger than is accepted.

A pipe would hold a reader up for ever, a device may never end, and a file may change between a
look at its name and its opening: so it is opened without waiting, and then looked at.
"""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path
from typing import BinaryIO

MAX_FILE_BYTES = 1 << 30
"""The most that any file of a user may hold, where its own kind has no smaller bound."""


def open_regular(path: Path, most: int | None = None) -> BinaryIO:
    """Open a regular file for reading.

    Parameters
    ----------
    path : Path
        The file; symbolic links are followed.
    most : int or None
        The greatest accepted size, bytes; None for any.

    Raises
    ------
    OSError
        Where it is missing, can't be read, is no regular file, or is larger.
    """
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    except ValueError:
        raise OSError(errno.EINVAL, "no possible name of a file", str(path)) from None
    stream = os.fdopen(handle, "rb")
    try:
        held = os.fstat(handle)
        if not stat.S_ISREG(held.st_mode):
            raise OSError(errno.EINVAL, "not a regular file", str(path))
        if most is not None and held.st_size > most:
            raise OSError(errno.EFBIG, f"{held.st_size} bytes, more than {most}", str(path))
    except BaseException:
        stream.close()
        raise
    return stream


def reason_of(error: OSError) -> str:
    """Why a file can't be read, in a few words."""
    if isinstance(error, FileNotFoundError):
        return "no such file"
    return error.strerror or "it can't be read"


def read_regular(path: Path, most: int = MAX_FILE_BYTES) -> bytes:
    """All bytes of a regular file. Raises OSError as open_regular does."""
    with open_regular(path, most) as stream:
        data = stream.read(most + 1)
    if len(data) > most:
        raise OSError(errno.EFBIG, f"more than {most} bytes", str(path))
    return data
