"""A cell, or a whole row, that was left out: where, what stands there, why, what to write."""

from __future__ import annotations

from dataclasses import dataclass


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
        words = f"{self.place}: {self.found!r}: {self.reason}"
        return f"{words}; {self.suggestion}" if self.suggestion else words


class LeftOut(ValueError):
    """A cell that can't be read, with what to write instead."""

    def __init__(self, reason: str, suggestion: str) -> None:
        super().__init__(reason)
        self.suggestion = suggestion
