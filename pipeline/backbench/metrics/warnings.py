"""Remarks of a figure, and those of them that are to be acted upon, not only read.

Remarks are joined by "; ". One that begins with "warning: " reaches whoever measures
the capture, at once; the view capture_outcome finds it by that beginning.
"""

from __future__ import annotations

SEPARATOR = "; "
BEGINNING = "warning: "


def joined(*remarks: str | None) -> str | None:
    """Several remarks as one; None where there is none."""
    return SEPARATOR.join(filter(None, remarks)) or None


def warning(text: str) -> str:
    """The remark as a warning. text: without "; ", which parts one remark from the next."""
    assert SEPARATOR not in text, text
    return BEGINNING + text
