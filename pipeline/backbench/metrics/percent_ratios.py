"""Ratios of mean squares in percent."""

from __future__ import annotations

import math

from backbench.metrics.declaration import MeasuredValue
from backbench.signal.power import MeanSquare


def percent(
    part: MeanSquare, whole: MeanSquare, ceiling: float, order: int | None = None
) -> MeasuredValue:
    """Root of part over whole in percent; an upper bound where noise could make up the part.

    ceiling: rms that the part can't be above, V. order: of the harmonic that the part is.
    """
    if not part.stands_out:
        most = 100 * min(part.at_most, ceiling) / whole.rms
        return MeasuredValue(most, 0.0, bound="upper", order=order)
    value = 100 * part.rms / whole.rms
    own = value * math.hypot(part.relative, whole.relative)
    return MeasuredValue(value, own, own, part.samples, order=order)


def percent_of_total(
    part: MeanSquare, rest: MeanSquare, ceiling: float = math.inf
) -> MeasuredValue:
    """Root of part over part and rest, in percent; ceiling as for percent."""
    if not part.stands_out:
        square = min(part.at_most, ceiling) ** 2
        return MeasuredValue(100 * math.sqrt(square / (square + rest.value)), 0.0, bound="upper")
    share = part.value / (part.value + rest.value)
    value = 100 * math.sqrt(share)
    own = value * (1 - share) * math.hypot(part.relative, rest.relative)
    return MeasuredValue(value, own, own, part.samples)
