"""The probability that a value is within a limit, and what is decided by it.

Decision rule (JCGM 106:2012, conformance probability for a normal distribution): a limit is met
where the probability that the true value is within it is at least 95 %, missed where it is at most
5 %, and is inconclusive in between. With few degrees of freedom of the uncertainty the
distribution is Student's t.
"""

from __future__ import annotations

import math
from typing import Literal

from backbench.statistics.students_t import below

SURE = 0.95
Decision = Literal["fails", "inconclusive", "meets"]


def conformance(
    value: float,
    uncertainty: float,
    limit: float,
    side: str,
    bound: str | None = None,
    dof: float | None = None,
) -> tuple[float, float]:
    """Least and greatest probability that the true value is within a one-sided limit.

    They are equal unless the value is a bound. side: "at most" or "at least". dof: of the
    uncertainty; with few the distribution is Student's t (JCGM 100:2008, G.3), whose tails are
    wider. None: not limited.
    """
    distance = limit - value if side == "at most" else value - limit
    if uncertainty > 0:
        p = _probability(distance / uncertainty, dof)
    else:
        p = 1.0 if distance >= 0 else 0.0
    if bound is None:
        return p, p
    may_be_within = (bound == "upper") == (side == "at most")
    return (p, 1.0) if may_be_within else (0.0, p)


def size_conformance(
    value: float, uncertainty: float, limit: float, side: str, dof: float | None = None
) -> tuple[float, float]:
    """As conformance, of the size of a value of either sign within a limit of at least 0."""
    size = abs(value)
    if uncertainty <= 0:
        return conformance(size, 0.0, limit, side)
    above = _probability((limit - size) / uncertainty, dof)
    below = _probability((-limit - size) / uncertainty, dof)
    p = above - below if side == "at most" else 1 - above + below
    return p, p


def _probability(deviate: float, dof: float | None) -> float:
    """That a value lies below this many standard uncertainties above its estimate."""
    if dof is None or math.isinf(dof):
        return 0.5 * math.erfc(-deviate / math.sqrt(2))
    return below(dof, deviate)


def outcome_of(probability: tuple[float, float]) -> Decision:
    """The decision for least and greatest conformance probability."""
    if probability[0] >= SURE:
        return "meets"
    return "fails" if probability[1] <= 1 - SURE else "inconclusive"
