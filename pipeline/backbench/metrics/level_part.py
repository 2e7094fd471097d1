"""One level of a capture that holds several: a step of a recording, a row of a table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, eq=False)
class LevelPart:
    """One level of a capture that holds several, as a view of another kind sees it.

    Parameters
    ----------
    view : object
        That view, or the Refusal that stands in its place.
    generator_vrms : float or None
        The generator's level in this part, V rms; None where it isn't known.
    power_w : float or None
        The power that the part was taken at, W, where it isn't measured in the part itself.
    number : int or None
        The row of a table that it is, from 1; None of a recording.
    """

    view: Any
    generator_vrms: float | None
    power_w: float | None = None
    number: int | None = None
