"""Sorts of input that amplify by another factor or over another curve than a line input."""

from __future__ import annotations

import re

LINE = "line"
PHONO, COIL = "phono", "moving coil"
INPUTS = (
    (COIL, r"\b(mc|moving[ -]coil)\b"),
    (PHONO, r"\b(phono|mm|moving[ -]magnet|riaa)\b"),
    ("microphone", r"\b(mic|microphone)\b"),
)
"""Each sort and how an input's name says so; the first that fits. All others, and an input without
a name, are line."""


def sort_of_input(name: str | None, kind: str = "") -> str:
    """The sort of an input by its name; what a phono stage doesn't name otherwise is phono."""
    text = (name or "").lower()
    named = next((sort for sort, pattern in INPUTS if re.search(pattern, text)), LINE)
    return PHONO if named == LINE and PHONO in kind.lower() else named
