"""Lines over a reference: sums of amplitudes and of powers, as ratios with uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from backbench.signal.power import MeanSquare


class Ratio(NamedTuple):
    """A ratio of rms values.

    Parameters
    ----------
    value : float
        >= 0.
    u : float
        Standard uncertainty; 0 for a bound.
    dof : float
        Its degrees of freedom.
    bounded : bool
        Whether the value is an upper bound.
    """

    value: float
    u: float
    dof: float
    bounded: bool


def of_amplitudes(parts: Sequence[MeanSquare], reference: Sequence[MeanSquare]) -> Ratio:
    """Sum of the parts' rms over the sum of the references' rms.

    Parameters
    ----------
    parts : sequence of MeanSquare
        At least one, V^2.
    reference : sequence of MeanSquare
        At least one that is above 0, V^2.

    Returns
    -------
    Ratio
        Of rms values. Where no part stands out, the sum of what each may be at most is the bound.

    Notes
    -----
    A part that doesn't stand out beside one that does may be anything from nothing to what
    would have stood out: it counts as the middle of that range, uniformly spread.

    References
    ----------
    GUM 4.3.7 (rectangular distribution).
    """
    whole, relative = _reference(reference)
    dof = min(part.samples for part in parts)
    if not any(part.stands_out for part in parts):
        return Ratio(sum(part.at_most for part in parts) / whole, 0.0, math.inf, True)
    known = [_amplitude(part) for part in parts]
    value = sum(rms for rms, _ in known) / whole
    own = math.hypot(*(u for _, u in known)) / whole
    return Ratio(value, math.hypot(own, value * relative), dof, False)


def root_sum_square(parts: Sequence[Ratio]) -> Ratio:
    """Root sum square of ratios; an upper bound where each of them is one.

    Parameters
    ----------
    parts : sequence of Ratio
        At least one; uncorrelated.

    Returns
    -------
    Ratio

    Notes
    -----
    A bounded one beside one that is known may be anything from nothing to its bound, uniformly
    spread.

    References
    ----------
    GUM 4.3.7 (rectangular distribution).
    """
    if all(part.bounded for part in parts):
        return Ratio(math.hypot(*(part.value for part in parts)), 0.0, math.inf, True)
    known = [(p.value / 2, p.value / math.sqrt(12)) if p.bounded else p[:2] for p in parts]
    value = math.hypot(*(size for size, _ in known))
    own = math.hypot(*(size * u for size, u in known)) / value
    return Ratio(value, own, min(part.dof for part in parts), False)


def of_powers(part: MeanSquare, reference: Sequence[MeanSquare]) -> Ratio:
    """Rms of a sum of lines over the sum of the references' rms.

    Parameters
    ----------
    part : MeanSquare
        The sum of lines, V^2.
    reference : sequence of MeanSquare
        At least one that is above 0, V^2.

    Returns
    -------
    Ratio
        Of rms values; an upper bound where the part doesn't stand out.
    """
    whole, relative = _reference(reference)
    if not part.stands_out:
        return Ratio(part.at_most / whole, 0.0, math.inf, True)
    value = part.rms / whole
    return Ratio(value, value * math.hypot(part.relative, relative), part.samples, False)


def _amplitude(part: MeanSquare) -> tuple[float, float]:
    if part.stands_out:
        return part.rms, part.rms * part.relative
    return part.at_most / 2, part.at_most / math.sqrt(12)


def _reference(reference: Sequence[MeanSquare]) -> tuple[float, float]:
    """Sum of rms, V, and its relative standard uncertainty."""
    whole = sum(one.rms for one in reference)
    return whole, math.hypot(*(one.rms * one.relative for one in reference)) / whole
