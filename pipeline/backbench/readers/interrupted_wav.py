"""A WAV file whose recorder was interrupted: its header says that it holds nothing."""

from __future__ import annotations

import io
import struct
from pathlib import Path
from typing import BinaryIO

HEAD_BYTES = 65_536
"""Of the file, in which the data's header is looked for."""
UNKNOWN = struct.pack("<I", 0xFFFFFFFF)
INTERRUPTED = (
    "the recorder was interrupted: the file's header states no length, and it was read to its end"
)


def interrupted_at(path: Path) -> int | None:
    """Where in a WAV file the data's size stands, where that is 0 though data follows; else None.

    A chunk that is whole within the file may follow data of no length: then nothing was lost.
    """
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
        size = file.seek(0, io.SEEK_END)
    if head[:4] != b"RIFF" or head[8:12] != b"WAVE":
        return None
    place = 12
    while place + 8 <= len(head):
        (length,) = struct.unpack_from("<I", head, place + 4)
        if head[place : place + 4] == b"data":
            lost = length == 0 and size > place + 8 and not _chunk(head, place + 8, size)
            return place + 4 if lost else None
        place += 8 + length + length % 2
    return None


def _chunk(head: bytes, place: int, size: int) -> bool:
    """Whether a whole chunk begins here: four printable characters and a length that fits."""
    if place + 8 > len(head):
        return False
    name = head[place : place + 4]
    (length,) = struct.unpack_from("<I", head, place + 4)
    return all(32 <= byte < 127 for byte in name) and place + 8 + length <= size


class MendedHeader(io.RawIOBase):
    """A file as it would be with an unknown size in place of the data's size of 0."""

    def __init__(self, file: BinaryIO, place: int) -> None:
        super().__init__()
        self._file, self._place = file, place

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()

    def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override]
        """Bytes of the file; those of the data's size say that it isn't known."""
        start = self._file.tell()
        data = bytearray(self._file.read(len(buffer)))
        for k, byte in enumerate(UNKNOWN):
            if start <= self._place + k < start + len(data):
                data[self._place + k - start] = byte
        buffer[: len(data)] = data
        return len(data)
