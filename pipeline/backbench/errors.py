"""The one kind of error that a user can mend, and the words it is told in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong: where, what was found, what was expected, what to do."""

    where: str
    found: str
    expected: str
    remedy: str = ""

    def __str__(self) -> str:
        told = f"{self.where}: found {self.found}; expected {self.expected}"
        return f"{told}; {self.remedy}" if self.remedy else told


class UserError(Exception):
    """Everything wrong with one input, reported together.

    Raised where the fault is known; worded once, at the command line.
    """

    def __init__(self, what: str, faults: Sequence[Fault] = ()) -> None:
        super().__init__(what)
        self.what = what
        self.faults = tuple(faults)

    def __str__(self) -> str:
        return "\n".join([self.what, *(f"  {fault}" for fault in self.faults)])


class Refusal(Exception):
    """No honest number can be given; the text is the reason that is kept."""


class NotApplicable(Exception):
    """The metric has no meaning under these conditions; the text says why."""
