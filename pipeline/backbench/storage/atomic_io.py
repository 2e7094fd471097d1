"""Files that are on the disk whole or not at all, whatever stops the machine."""

from __future__ import annotations

import errno
import io
import itertools
import os
import stat
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from backbench.storage.fault_injection import reached

if TYPE_CHECKING:
    import polars as pl

ASIDE = ".incoming-"
"""Beginning of the name of a file that is still being written."""
PART = ".part"
"""End of the name of a staged chunk's folder that is still being written."""


def flush_file(path: Path) -> None:
    """Bring a written file's bytes to the disk. Raises OSError."""
    _flush(path)


def flush_folder(path: Path) -> None:
    """Bring the names in a folder to the disk. Raises OSError."""
    _flush(path)


def _flush(path: Path) -> None:
    reached("flush")
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
    reached("flushed")


def flush_everything() -> None:
    """Bring all that was written to the disk: for very many files, sooner than each by itself."""
    reached("flush")
    os.sync()
    reached("flushed")


def make_folder(path: Path) -> None:
    """A folder with those above it, each name of a new one on the disk. Raises OSError."""
    missing = itertools.takewhile(lambda folder: not folder.exists(), (path, *path.parents))
    for folder in reversed([*missing]):
        reached("make folder")
        folder.mkdir(exist_ok=True)
        flush_folder(folder.parent)


def rename(aside: Path, final: Path) -> None:
    """Rename a flushed file or folder to its place, and flush the folder that names it."""
    reached("rename")
    aside.replace(final)
    reached("renamed")
    flush_folder(final.parent)


def write_aside(final: Path, data: bytes, mode: int = 0o444) -> None:
    """Write bytes to a file so that it is there whole or not at all. Raises OSError."""
    make_folder(final.parent)
    handle, name = tempfile.mkstemp(prefix=ASIDE, dir=final.parent)
    aside = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            reached("write")
            stream.write(data)
        aside.chmod(mode)
        flush_file(aside)
        rename(aside, final)
    except BaseException:
        aside.unlink(missing_ok=True)
        raise


def write_user_file(path: Path, data: bytes) -> None:
    """Write or replace a file of the user, whole or not at all.

    A link is followed, and the mode of an existing file is kept. What is no regular file, such
    as a pipe or the terminal, is written to and not replaced. Raises OSError, where its folder
    isn't there too: a mistyped folder is not made.
    """
    if path.exists() and not path.is_file():
        with path.open("wb") as stream:
            reached("write")
            stream.write(data)
        return
    final = path.resolve()
    if not final.parent.is_dir():
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), str(path))
    mode = stat.S_IMODE(final.stat().st_mode) if final.exists() else 0o644
    write_aside(final, data, mode)


def write_text_file(path: Path, text: str) -> None:
    """Write or replace a text file of the user as write_user_file does, in UTF-8."""
    write_user_file(path, text.encode("utf-8"))


def parquet_bytes(frame: pl.DataFrame) -> bytes:
    """A frame as a short-lived Parquet file: the disk's errors are the system's own."""
    buffer = io.BytesIO()
    frame.write_parquet(buffer, compression="uncompressed", statistics=False)
    return buffer.getvalue()
