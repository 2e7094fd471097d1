"""Why a text is no quantity, in words that a fault can carry."""

from __future__ import annotations

from backbench.errors import Fault


class UnreadableQuantity(ValueError):
    """A text that is no quantity, has two readings, or names a value that no bench has.

    text: as written. reason: what is wrong with it. remedy: what to write instead, or "".
    """

    def __init__(self, text: str, reason: str, remedy: str = "") -> None:
        super().__init__(text, reason, remedy)
        self.text = text if len(text) <= 60 else text[:59] + "…"
        self.reason = reason
        self.remedy = remedy

    def __str__(self) -> str:
        words = f"{self.text!r} {self.reason}"
        return f"{words}; {self.remedy}" if self.remedy else words

    def fault(self, where: str, expected: str) -> Fault:
        """The same as a fault of a file or an option."""
        return Fault(where, f"{self.text!r}, which {self.reason}", expected, self.remedy)
