"""The one kind of error that a user can correct, and how it is worded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

MISSING = "missing"
"""What a fault has as found where a value that is required isn't there."""


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong.

    Attributes:
        where: The file, key, option or cell.
        found: What stands there, or MISSING.
        expected: What is accepted there.
        remedy: What to do; empty where it follows from what is accepted.
    """

    where: str
    found: str
    expected: str
    remedy: str = ""

    def __str__(self) -> str:
        if self.found == MISSING:
            text = f"{self.where}: missing; required: {self.expected}"
        else:
            text = f"{self.where}: found {self.found}; expected {self.expected}"
        return f"{text}; {self.remedy}" if self.remedy else text


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
