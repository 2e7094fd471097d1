"""Combination of standard uncertainties (JCGM 100:2008, GUM)."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import NamedTuple


class Part(NamedTuple):
    """One contribution: standard uncertainty (in the result's unit) and its degrees of freedom."""

    u: float
    dof: float = math.inf


def combine(parts: Iterable[Part]) -> Part:
    """Root sum of squares with Welch-Satterthwaite degrees of freedom (GUM 5.1.2 and G.4.1).

    The parts must be uncorrelated and already multiplied by their sensitivity coefficients.
    """
    known = [part for part in parts if part.u > 0]
    variance = sum(part.u**2 for part in known)
    if variance == 0:
        return Part(0.0)
    spread = sum(part.u**4 / part.dof for part in known if math.isfinite(part.dof))
    return Part(math.sqrt(variance), variance**2 / spread if spread else math.inf)


DB_PER_RELATIVE = 20 / math.log(10)
"""Decibels per small relative change of an amplitude (8.686)."""
