"""Remarks that are to be acted upon, not only read.

Remarks of a figure are joined by "; ". One that begins with "warning: " reaches whoever measures
the capture, at once; the view capture_outcome finds it by that beginning.
"""

from __future__ import annotations

BEGINNING = "warning: "


def warning(text: str) -> str:
    """The remark as a warning. text: without "; ", which parts one remark from the next."""
    assert "; " not in text, text
    return BEGINNING + text
