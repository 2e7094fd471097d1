"""Between which measured powers each limit of distortion is passed: where more steps would tell."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from typing import NamedTuple

from backbench.metrics.power_limit import LIMITS_PERCENT
from backbench.metrics.power_sweep import PowerLevel, bracket_of, known_at, series
from backbench.metrics.session import Reading, Session


class LimitBracket(NamedTuple):
    """What a limit's crossing is known by.

    limit_percent: of distortion. low_w, high_w: what a smooth curve through the steps allows, W.
    below, above: the measured powers beside it, W, each with its generator level, V; None where
    that wasn't stated. like: the reading of the power below.
    """

    limit_percent: float
    low_w: float
    high_w: float
    below: tuple[float, float | None]
    above: tuple[float, float | None]
    like: Reading

    def generator_v(self, power_w: float) -> float | None:
        """Generator level that a power between the two steps needs, V, along their chord."""
        (low, low_v), (high, high_v) = self.below, self.above
        if not low_v or not high_v:
            return None
        share = math.log(power_w / low) / math.log(high / low)
        return math.exp((1 - share) * math.log(low_v) + share * math.log(high_v))


def limit_brackets(session: Session) -> Iterator[LimitBracket]:
    """Of every output and set of conditions with enough levels, for each usual limit."""
    for every in series(session):
        for limit in LIMITS_PERCENT:
            target = math.log(limit)
            levels = known_at(every, target)
            pairs = itertools.pairwise(levels)
            rises = [i for i, (a, b) in enumerate(pairs) if a.y < target <= b.y]
            if rises:
                yield _bracket(levels, rises[-1], limit)


def _bracket(levels: list[PowerLevel], i: int, limit: float) -> LimitBracket:
    crossed = bracket_of(levels, i, math.log(limit))
    below, above = (
        (math.exp(level.x), level.power.generator_vrms) for level in (levels[i], levels[i + 1])
    )
    return LimitBracket(
        limit, math.exp(crossed.low), math.exp(crossed.high), below, above, levels[i].power
    )
