"""Signs that a terminal's character set lacks, written with those that every one has.

A minus, a power of ten or a micro that became "?" would be another number.
"""

from __future__ import annotations

import codecs
import unicodedata

HANDLER = "backbench.plain"
"""Name of the handler of encoding errors."""
PLAIN = {
    "−": "-", "–": "-", "—": "-", "…": "...", "±": "+/-", "×": "x", "·": ".", "√": "sqrt ",
    "≤": "<=", "≥": ">=", "≈": "~", "≠": "!=", "∅": "dia. ", "÷": "/",
    "‰": " per mille", "°": "deg", "µ": "u", "Ω": "ohm",
    "→": "->", "←": "<-", "↑": "^", "↓": "v", "“": '"', "”": '"', "„": '"', "‘": "'", "’": "'",
    "⌀": "dia. ", "ø": "o", "Ø": "O", "†": "*", "‡": "**", "§": "section ",
    "\N{FRACTION SLASH}": "/",
    "│": "|", "─": "-", "┌": "+", "┐": "+", "└": "+", "┘": "+", "├": "+", "┤": "+", "┬": "+",
    "┴": "+", "┼": "+", "•": "*", "█": "#", "●": "o", "○": "o", "ρ": "rho", "ω": "omega",
    "Σ": "sum", "μ": "u",
}  # fmt: skip
RAISED = "<super>"
FRACTION = "<fraction>"
"""How Unicode marks a sign that stands raised, and one that stands for a fraction."""


def plain(text: str) -> str:
    """The text in ASCII; "?" for a sign that has no other way of writing."""
    result, raised = "", False
    for sign in text:
        is_raised = unicodedata.decomposition(sign).startswith(RAISED)
        if is_raised and not raised:
            result += "^"
        result += _ascii(sign)
        raised = is_raised
    return result


def _ascii(sign: str) -> str:
    if sign.isascii():
        return sign
    if sign in PLAIN:
        return PLAIN[sign]
    parts = unicodedata.normalize("NFKD", sign)
    signs = [part for part in parts if not unicodedata.combining(part)]
    # A sign of mathematics with a stroke through it is the opposite of the one without.
    if parts == sign or (len(signs) < len(parts) and unicodedata.category(sign) == "Sm"):
        return "?"
    before = " " if unicodedata.decomposition(sign).startswith(FRACTION) else ""
    return before + "".join(map(_ascii, signs))


def register() -> None:
    """Make the handler known by its name."""
    codecs.register_error(HANDLER, _handled)


def _handled(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return plain(error.object[error.start : error.end]), error.end
