"""A cell, or a whole row, that was left out: where, what stands there, why, what to write."""

from __future__ import annotations

from dataclasses import dataclass

from backbench.documents.validation import shortened


@dataclass(frozen=True)
class Problem:
    """A cell, or a whole row, that was left out.

    suggestion: what to write there, or to state in the map, instead.
    """

    place: str
    found: str
    reason: str
    suggestion: str = ""

    def __str__(self) -> str:
        words = f"{self.place}: {shortened(self.found)}: {cut(self.reason)}"
        return f"{words}; {cut(self.suggestion)}" if self.suggestion else words


LONGEST_WORDS = 400


def cut(text: str) -> str:
    """A reason that quotes a long cell, as it can stand in one line."""
    plain = "".join(c if c.isprintable() else "?" for c in text)
    return plain if len(plain) <= LONGEST_WORDS else f"{plain[: LONGEST_WORDS - 1]}…"


LONGEST_CELL = 4000
"""Characters of a cell that is read: as many as the notes of a manifest may have."""


def refuse_long(text: str) -> None:
    """Raise LeftOut for a cell that no fact or figure is as long as."""
    if len(text) > LONGEST_CELL:
        raise LeftOut(f"a text of {len(text)} characters", f"write at most {LONGEST_CELL}")


class LeftOut(ValueError):
    """A cell that can't be read, with what to write instead."""

    def __init__(self, reason: str, suggestion: str) -> None:
        super().__init__(reason)
        self.suggestion = suggestion
