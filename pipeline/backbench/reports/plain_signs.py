"""Signs that a terminal's character set lacks, written with those that every one has.

A minus, a power of ten or a micro that became "?" would be another number.
"""

from __future__ import annotations

import codecs
import unicodedata

HANDLER = "backbench.plain"
"""Name of the handler of encoding errors."""
ASCII = "plain_ascii"
"""ASCII under a name of our own."""
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
    """Make the handler known by its name, and ASCII by another one than its own.

    The library of the command line takes a stream in ASCII for one that was set up wrongly, and
    writes UTF-8 to it.
    """
    codecs.register_error(HANDLER, _handled)
    codecs.register(_ascii_renamed)


def _ascii_renamed(name: str) -> codecs.CodecInfo | None:
    if name != ASCII:
        return None
    own = codecs.lookup("ascii")
    return codecs.CodecInfo(
        own.encode, own.decode, own.streamreader, own.streamwriter,
        own.incrementalencoder, own.incrementaldecoder, name=ASCII,
    )  # fmt: skip


def _handled(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return plain(error.object[error.start : error.end]), error.end
