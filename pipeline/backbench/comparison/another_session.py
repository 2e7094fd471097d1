"""What another session of the same unit would add to an uncertainty, in numbers and in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from backbench.quantities.counts import counted
from backbench.quantities.writing import COVERAGE, quantity
from backbench.statistics.shared_uncertainty import effective_dof

MOST_NAMED = 4
"""Quantities that a note names one by one; of more it gives the number."""
DEFAULT_MARK = "stated default"
"""How a spread between sessions is marked that no unit measured again speaks for."""


@dataclass(frozen=True)
class AnotherSession:
    """A reading's standard uncertainty with the spread between sessions in it, and its degrees of
    freedom. is_default: nothing but the metric's stated default is known of the spread."""

    uncertainty: float
    dof: float | None
    is_default: bool

    def text(self, unit: str) -> str:
        """ "± 0.05 % in another session (stated default)", expanded (k = 2)."""
        mark = f" ({DEFAULT_MARK})" if self.is_default else ""
        return f"± {quantity(COVERAGE * self.uncertainty, unit, 2)} in another session{mark}"


def another_session(row: Mapping[str, Any]) -> AnotherSession | None:
    """From a reading beside its metric's row of session_spread; None where there is none.

    row: value, uncertainty and dof of the reading; relative, spread, session_dof and is_default.
    """
    if not row.get("spread") or row["uncertainty"] is None or row["value"] is None:
        return None
    session = row["spread"] * (abs(row["value"]) if row["relative"] else 1.0)
    u = math.hypot(row["uncertainty"], session)
    dof = effective_dof(u, [(row["uncertainty"], row["dof"]), (session, row["session_dof"])])
    return AnotherSession(u, dof, bool(row["is_default"]))


class Compared(Protocol):
    """A quantity whose uncertainty has the spread between sessions in it."""

    @property
    def title(self) -> str: ...

    @property
    def session_default(self) -> bool: ...


def default_note(quantities: Sequence[Compared], *, everything: bool = False) -> str:
    """Of which quantities the spread between sessions is a default; "" where of none.

    everything: name each, however many they are.
    """
    named = list(dict.fromkeys(one.title for one in quantities if one.session_default))
    if not named:
        return ""
    titles = {one.title for one in quantities}
    which = ", ".join(named)
    if len(named) == len(titles):
        which = "every quantity"
    elif len(named) > MOST_NAMED and not everything:
        which = f"{len(named)} of {counted(len(titles), 'quantity', 'quantities')}"
    return (
        f"spread between sessions: the {DEFAULT_MARK} for {which}, as no unit has been measured "
        "again without work in between"
    )
