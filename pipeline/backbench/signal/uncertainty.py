"""Combination of standard uncertainties (JCGM 100:2008, GUM)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple


class Contribution(NamedTuple):
    """One contribution to an uncertainty.

    Parameters
    ----------
    u : float
        Standard uncertainty in the result's unit, >= 0.
    dof : float
        Its degrees of freedom, > 0.
    """

    u: float
    dof: float = math.inf


def combine(parts: Iterable[Contribution]) -> Contribution:
    """Root sum of squares with Welch-Satterthwaite degrees of freedom.

    Parameters
    ----------
    parts : iterable of Contribution
        Uncorrelated and already multiplied by their sensitivity coefficients.

    Returns
    -------
    Contribution
        0 where there are none.

    References
    ----------
    GUM 5.1.2 and G.4.1.
    """
    variance = spread = 0.0
    for u, dof in parts:
        if u > 0:
            variance += u * u
            if dof < math.inf:
                spread += u**4 / dof
    if variance == 0:
        return Contribution(0.0)
    return Contribution(math.sqrt(variance), variance**2 / spread if spread else math.inf)


def correlated(parts: Sequence[float], r: Mapping[tuple[int, int], float]) -> float:
    """Standard uncertainty of a sum of correlated contributions.

    Parameters
    ----------
    parts : sequence of float
        Sensitivity coefficient times standard uncertainty of each input, signs kept.
    r : mapping of (int, int) to float
        Correlation coefficients, -1 to 1, by pairs of positions (i < j); none given means 0.

    Returns
    -------
    float
        In the result's unit, >= 0.

    References
    ----------
    GUM 5.2.2, equation 16.
    """
    variance = sum(part**2 for part in parts)
    variance += 2 * sum(c * parts[i] * parts[j] for (i, j), c in r.items())
    return math.sqrt(max(variance, 0.0))


def spread(values: Sequence[float]) -> tuple[float, float]:
    """Mean and sample standard deviation of two values or more.

    Parameters
    ----------
    values : sequence of float
        In any unit.

    Returns
    -------
    mean, deviation : float
        In the same unit.

    Notes
    -----
    Deviations are taken from the mean, whose rounding is taken off again: values that agree in
    many digits keep their spread.

    References
    ----------
    GUM 4.2.1 and 4.2.2.
    """
    mean = math.fsum(values) / len(values)
    away = [value - mean for value in values]
    squares = math.fsum(a**2 for a in away) - math.fsum(away) ** 2 / len(values)
    return mean, math.sqrt(max(squares, 0.0) / (len(values) - 1))


ONE_SIDED = 2.326
"""Normal deviate of 99 %, one-sided: how many standard uncertainties beyond what was found a bound
lies, so that it is wrong in one of a hundred records."""
DB_PER_RELATIVE = 20 / math.log(10)
"""Decibels per small relative change of an amplitude (8.686)."""
