"""A large FLAC file opened and searched by a process that may be ended, before it is read here.

Of the containers this alone is searched for its blocks: a gigabyte of nothing but empty blocks,
or of false beginnings of frames, takes more than a minute. The others are opened at once,
whatever their headers say.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

import soundfile

from backbench.errors import UserError
from backbench.readers.file_formats import unreadable
from backbench.readers.limited_process import TookTooMuch, read_in_process, serve

MAGIC = b"fLaC"
SMALL_BYTES = 64_000_000
"""Up to here the worst takes some seconds."""
FRAMES = 4096


def fault_in(path: Path, name: str) -> str | None:
    """Why a large FLAC file can't be read, in the library's words; None where that isn't known.

    Raises UserError where opening or searching it takes more than a reading may.
    """
    held = path.stat()
    if held.st_size <= SMALL_BYTES or not _is_flac(path):
        return None
    try:
        return _tried(str(path), held.st_size, held.st_mtime_ns) or None
    except TookTooMuch as error:
        raise _given_up(name, error) from None


def _is_flac(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(len(MAGIC)) == MAGIC


def _given_up(name: str, error: TookTooMuch) -> UserError:
    expected = "a recording that opens with at most 1 GiB and within 30 s"
    return unreadable(name, f"audio that was given up: {error}", expected, "record it again")


@lru_cache(maxsize=256)
def _tried(path: str, size: int, changed_ns: int) -> str:
    """Once for each content: a long recording is opened many times."""
    return read_in_process("backbench.readers.flac_trial", {"path": path}).decode()


def _try_here(request: dict[str, Any]) -> bytes:
    try:
        with soundfile.SoundFile(request["path"]) as file:
            for place in (file.frames // 2, file.frames // 3, max(file.frames - FRAMES, 0), 0):
                file.seek(place)
                file.read(FRAMES, dtype="float64", always_2d=True)
    except soundfile.LibsndfileError as error:
        return reason_of(error).encode()
    return b""


def reason_of(error: soundfile.LibsndfileError) -> str:
    """The library's reason, without its ornaments."""
    return str(error.error_string).removeprefix("Error : ").strip().rstrip(".")


if __name__ == "__main__":
    serve(_try_here)
