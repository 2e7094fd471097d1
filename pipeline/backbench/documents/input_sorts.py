"""Sorts of path through a unit that are no line input to the usual output: other inputs, which
amplify by another factor or over another curve, and the socket for headphones."""

from __future__ import annotations

import re

LINE = "line"
PHONO, COIL, TUNER = "phono", "moving coil", "tuner"
INPUTS = (
    (COIL, r"\b(mc|moving[ -]coil)\b"),
    (PHONO, r"\b(phono|mm|moving[ -]magnet|riaa)\b"),
    ("microphone", r"\b(mic|microphone)\b"),
    (TUNER, r"\b(tuner|fm|radio)\b"),
)
"""Each sort and how an input's name says so; the first that fits. All others, and an input without
a name, are line."""
HEADPHONES = "headphones"
HEADPHONE_SOCKET = r"headphone|\bphones\b"
"""How the name of a socket (tap) or output says that it is for headphones."""


def sort_of_input(name: str | None, kind: str = "") -> str:
    """The sort of an input by its name; what a phono stage doesn't name otherwise is phono."""
    text = (name or "").lower()
    named = next((sort for sort, pattern in INPUTS if re.search(pattern, text)), LINE)
    return PHONO if named == LINE and PHONO in kind.lower() else named


def is_headphone_socket(tap: str | None, output: str = "") -> bool:
    """Whether the name of a tap or of an output is that of a socket for headphones."""
    return re.search(HEADPHONE_SOCKET, f"{tap or ''} {output}".lower()) is not None


def path_in_words(sort: str) -> str:
    """The way that a sort stands for: "through the phono input", "at the headphone socket"."""
    return "at the headphone socket" if sort == HEADPHONES else f"through the {sort} input"
