"""How soon an output is itself again after it was driven into its limit."""

from __future__ import annotations

import math

from backbench.errors import NotApplicable
from backbench.metrics.burst import (
    BURSTS,
    FLAT_PERCENT,
    LIMIT_PERCENT,
    BurstView,
)
from backbench.metrics.declaration import MeasuredValue, metric
from backbench.quantities.writing import exact
from backbench.signal.burst_recovery import recovery

FAMILY = "Power and headroom"

WITHIN = 0.01
"""Share of the bursts' crest within which the output counts as back: common practice, no source."""
COARSE = 2.0
"""Periods below which a time is given as a bound."""


@metric(
    "overload_recovery", title="Recovery from overload", unit="s", better="lower",
    source="common practice, no source: IHF-A-202:1978 has a recovery from overload by bursts, "
    "from memory, its limits unknown",
    stimuli=BURSTS, version=1,
    choice="from the end of a burst that is clipped until the output stays within 1 % of the "
    "bursts' crest of what it is in the last third of the pause (a steady tone and offset), the "
    "slowest of the bursts, to a period; an upper bound below two periods, a lower one where the "
    "output still moves at the end of the pause",
)  # fmt: skip
def overload_recovery(seen: BurstView) -> MeasuredValue:
    """Time from the end of a clipped burst until the output is as it was without it."""
    bursts = seen.bursts
    worst = max(bursts.harmonics.rms / seen.level, *(end.rms for end in bursts.ends))
    if 100 * worst <= LIMIT_PERCENT and 100 * bursts.flattened <= FLAT_PERCENT:
        raise NotApplicable("the bursts aren't clipped: there is no overload to recover from")
    found = recovery(seen.track, bursts, WITHIN * math.sqrt(2) * seen.level)
    slowest = max(found.seconds)
    detail = {"within": exact(100 * WITHIN, "%")}
    if not found.ended:
        return MeasuredValue(slowest, found.period, found.period, bound="lower", detail=detail)
    if slowest < COARSE * found.period:
        most = COARSE * found.period
        return MeasuredValue(most, 0.0, bound="upper", detail=detail)
    # anywhere within the last period, and the end of the burst is known to one
    own = found.period / math.sqrt(6)
    return MeasuredValue(slowest - found.period / 2, own, own, detail=detail)
