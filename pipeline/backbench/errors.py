"""The one kind of error that a user can correct, and how it is worded."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

MISSING = "missing"
"""What a fault has as found where a value that is required isn't there."""
NOT_EMPTY = "something other than an empty folder"
"""What a fault has as found where new files would stand among others."""


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


LEAST_BEGUN = 4
"""Characters of a name's beginning that tell which one was meant."""


def did_you_mean(text: str, known: Iterable[str], otherwise: str = "") -> str:
    """A remedy that offers the known name most like a text, or otherwise another one."""
    import difflib

    names = list(known)
    begun = [name for name in names if len(text) >= LEAST_BEGUN and name.startswith(text)]
    near = sorted(begun, key=len)[:1] or difflib.get_close_matches(text, names, n=1)
    return f"did you mean {near[0]}?" if near else otherwise


def unknown_key(what: str, key: str, known: Iterable[str], otherwise: str = "") -> Fault:
    """The fault of a key that names nothing. what: the thing that it should name, as "review"."""
    remedy = did_you_mean(key, known, otherwise)
    return Fault(f"{what} {key!r}", f"no such {what}", f"the key of a {what}", remedy)


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
