"""The text of a file, whatever it was saved as."""

from __future__ import annotations

MARKS = {b"\xef\xbb\xbf": "utf-8-sig", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}
"""Byte-order marks (The Unicode Standard, chapter 23)."""
CONTROLS = bytes(set(range(32)) - set(b"\t\n\r\x0b\x0c\x1a"))
"""Bytes that no text in an eight-bit encoding holds."""


ENDINGS = (".csv", ".tsv", ".txt", ".dat", ".asc", ".prn", ".tab")
"""Of the names of text files that hold tables."""


def is_text(head: bytes, suffix: str) -> bool:
    """Whether the first bytes of a file are text: UTF-8, UTF-16 with its mark, or Latin-1.

    Latin-1 has no mark and excludes little: the suffix must speak of text, too.
    """
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return True
    head = head.rstrip(b"\x00") if suffix in ENDINGS else head
    if not head or b"\x00" in head or head.startswith((b"fLaC", b"PAR1")):
        return False
    try:
        head.decode("utf-8")
    except UnicodeDecodeError as error:
        cut = error.start >= len(head) - 3
        return cut or suffix in ENDINGS
    return True


def decoded(data: bytes) -> str:
    """The characters of a text file: as its mark states, as UTF-8, or else as Latin-1.

    Zero bytes at its end, which fill up a block, are none of it.

    Raises ValueError where the bytes are none of these.
    """
    for mark, encoding in MARKS.items():
        if data.startswith(mark):
            return data.decode(encoding).rstrip("\x00")
    data = data.rstrip(b"\x00")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        if set(data) & set(CONTROLS):
            problem = f"a byte at {error.start} that is no text"
            raise ValueError(problem) from None
        return data.decode("cp1252", errors="replace")
