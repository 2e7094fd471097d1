"""Uncertainty of a difference of two values that may share a part of theirs.

What one calibration gives to both values moves both in the same direction: of that part only the
difference stays in the difference (JCGM 100:2008, 5.2.2, at correlation 1). The other parts are
independent. Effective degrees of freedom: Welch-Satterthwaite (JCGM 100:2008, G.4.1).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from backbench.statistics.students_t import quantile

COVERAGE_PROBABILITY = 0.9545
"""Of an expanded uncertainty; a factor of 2 where degrees of freedom are not limited."""


@dataclass(frozen=True)
class Uncertainty:
    """Standard uncertainty of a value, at least 0, in the value's unit, by its parts.

    own: of the record and of the session. shared: of what may be shared. source: what that part
    comes from; equal sources are shared, None is shared with nothing. dof: of own; None: not
    limited.
    """

    own: float
    shared: float = 0.0
    source: str | None = None
    dof: float | None = None


def of_difference(a: Uncertainty, b: Uncertainty) -> tuple[float, float | None]:
    """Standard uncertainty of a difference and its degrees of freedom (None: not limited)."""
    together = a.source is not None and a.source == b.source
    shared = abs(a.shared - b.shared) if together else math.hypot(a.shared, b.shared)
    u = math.hypot(a.own, b.own, shared)
    return u, effective_dof(u, [(a.own, a.dof), (b.own, b.dof)])


def effective_dof(u: float, parts: Iterable[tuple[float, float | None]]) -> float | None:
    """Degrees of freedom of a combined u from its parts; None where none of them limits it."""
    spread = sum(part**4 / dof for part, dof in parts if dof is not None and math.isfinite(dof))
    return u**4 / spread if spread > 0 and u > 0 else None


def coverage_factor(dof: float | None) -> float:
    """Expanded over standard uncertainty: 2 for unlimited degrees of freedom, more for few."""
    if dof is None or dof > 1e6:
        return 2.0
    return quantile(dof, 0.5 + COVERAGE_PROBABILITY / 2)
