"""Greatest and least power at a distortion limit, from tones at rising levels."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

from backbench.metrics.declaration import MeasuredValue, derived
from backbench.metrics.power_sweep import (
    PowerLevel,
    crossing,
    kind_of_distortion,
    known_at,
    series,
    sources,
    surely_within,
    without_distortion,
)
from backbench.metrics.session import (
    Derived,
    DerivedResult,
    Promised,
    Reading,
    RefusedDerivation,
    Session,
)
from backbench.metrics.traits import AT_LIMITS, Overview, Traits
from backbench.quantities.writing import in_text

FAMILY = "Power and headroom"

LIMITS_PERCENT = (0.1, 1.0, 3.0, 10.0)
DISTORTIONS = ("thd", "thd_total", "thd_wide")
_CHOICE = (
    "all harmonics up to 20 kHz (above 2 kHz: harmonics 2 to 10, detail says which were recorded), "
    "the second and the third at least; between measured levels: the middle of what a smooth curve "
    "through them allows, whose width is in the uncertainty; also at the published limit"
)


@derived(
    "power_at_limit",
    title="Output power at a distortion limit",
    unit="W",
    better="higher",
    source="IEC 60268-3 (distortion-limited output power)",
    version=4,
    choice=f"last rise through the limit, {_CHOICE}",
    traits=Traits(
        also_called=(
            "power",
            "max power",
            "maximum power",
            "output",
            "power output",
            "clipping power",
            "power out",
        ),
        compared_at=AT_LIMITS,
        position=110,
        is_power=True,
        point_family="greatest power",
        bench_gain="watts",
        overview=Overview("Power at 1 % distortion, 8 Ω", "limit-1khz-8ohm", 1.0),
        captions=("distortion-over-power",),
        title_at_limit="Power at {limit} % distortion",
        listening="greatest pressure",
        given_by="tones of 1 kHz at rising levels, up to the limit",
    ),
)
def power_at_limit(session: Session) -> Iterator[DerivedResult]:
    """The power at which distortion passes the limit for the last time, going up."""
    for levels in series(session):
        for limit in _limits(session, levels[0].distortion):
            yield _greatest(levels, limit)
    for powers in without_distortion(session):
        hz = powers[0].frequency_hz
        place = "" if hz is None else f" at {in_text(hz, 'Hz', 6)}"
        reason = (
            f"no distortion could be given at any of {len(powers)} levels{place}, so none of them "
            "is known to be within a limit; see harmonic distortion there for the reason"
        )
        for limit in _limits(session, powers[-1]):
            yield RefusedDerivation(reason, powers[-1], tuple(powers), limit_percent=limit)


@derived(
    "least_power_at_limit",
    title="Least output power within a distortion limit",
    unit="W",
    better="lower",
    source="common practice, no source",
    version=3,
    choice="last fall through the limit below the power at that limit (crossover distortion), "
    "given only where a smaller power was measured with more; " + _CHOICE,
)
def least_power_at_limit(session: Session) -> Iterator[Derived]:
    """The power above which distortion is within the limit, up to the power at that limit."""
    for levels in series(session):
        for limit in _limits(session, levels[0].distortion):
            least = _least(levels, limit)
            if least is not None:
                yield least


def _limits(session: Session, like: Reading) -> list[float]:
    """The usual limits, and those that the maker rated this output by."""
    own = {published_limit(p) for p in session.promised if p.unit_key == like.unit_key}
    return sorted({*LIMITS_PERCENT, *(limit for limit in own if limit)})


def published_limit(promised: Promised) -> float | None:
    """The distortion in percent that a published figure rates power by; None if it doesn't."""
    if promised.metric in {"power_at_limit", "output_power"}:
        return promised.limit_percent
    rates = promised.metric in DISTORTIONS and promised.side == "at most" and promised.power_w
    return promised.limit_value if rates and promised.limit_value > 0 else None


def _figure(
    power: float, u: float, own: float, limit: float, levels: list[PowerLevel]
) -> MeasuredValue:
    detail = kind_of_distortion(levels)
    return MeasuredValue(power, power * u, power * own, limit_percent=limit, detail=detail)


def _never(levels: list[PowerLevel], limit: float) -> RefusedDerivation:
    least = math.exp(min(level.y for level in levels))
    reason = (
        f"distortion is {in_text(least, '%', 2)} or more at every power that was measured, "
        f"and the limit is {in_text(limit, '%')}: record tones at lower powers"
    )
    return RefusedDerivation(
        reason, levels[-1].power, sources(levels), limit_percent=limit,
        detail=kind_of_distortion(levels),
    )  # fmt: skip


def _greatest(every: list[PowerLevel], limit: float) -> DerivedResult:
    target = math.log(limit)
    levels = known_at(every, target)
    sure = surely_within(levels, target)
    if not sure:
        return _never(every, limit)
    if levels[-1].y < target:
        last = sure[-1]
        figure = MeasuredValue(
            math.exp(last.x), math.exp(last.x) * last.u, math.exp(last.x) * last.own,
            bound="lower", limit_percent=limit, detail=kind_of_distortion(every),
        )  # fmt: skip
        return Derived(figure, last.power, sources(every))
    rise = _last_rise(levels, target)
    if rise is None:
        return _never(every, limit)
    crossed = crossing(levels, rise, target)
    figure = _figure(math.exp(crossed.x), crossed.u, crossed.own, limit, every)
    return Derived(figure, crossed.below.power, sources(every))


def _last_rise(levels: list[PowerLevel], target: float) -> int | None:
    """Position of the level after which distortion rises through the target for the last time."""
    rises = [i for i, (a, b) in enumerate(itertools.pairwise(levels)) if a.y < target <= b.y]
    return rises[-1] if rises else None


def _least(levels: list[PowerLevel], limit: float) -> Derived | None:
    """The last fall through the limit; None where the smallest power is already within it."""
    target = math.log(limit)
    known = known_at(levels, target)
    within = _reach(known, target)
    if not within:
        return None
    crossed = crossing(known, within - 1, target)
    figure = _figure(math.exp(crossed.x), crossed.u, crossed.own, limit, levels)
    return Derived(figure, crossed.above.power, sources(levels))


def _reach(levels: list[PowerLevel], target: float) -> int | None:
    """The first of the levels within the target that lead without a gap to the greatest such."""
    inside = [i for i, level in enumerate(levels) if level.y < target]
    if not inside:
        return None
    first = inside[-1]
    while first > 0 and levels[first - 1].y < target:
        first -= 1
    return first
