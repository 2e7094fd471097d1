"""Input volts for a stated output, and the greatest input within a distortion limit."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from backbench.metrics.declaration import MeasuredValue, derived
from backbench.metrics.power_limit import LIMITS_PERCENT
from backbench.metrics.power_sweep import (
    LEAST_LEVELS,
    PowerLevel,
    apart,
    crossing,
    kind_of_distortion,
    known_at,
    surely_within,
    widest_distortion,
)
from backbench.metrics.session import (
    Derived,
    DerivedResult,
    Reading,
    RefusedDerivation,
    Session,
    grouped,
    relative_estimation,
    relative_uncertainty,
)
from backbench.quantities.writing import exact, in_text
from backbench.signal.between_steps import Place, value_between
from backbench.signal.uncertainty import DB_PER_RELATIVE

FAMILY = "Power and headroom"

REFERENCE_WATT = 1.0
REFERENCE_VOLT = 0.5
"""Reference output of an output without a load resistor (IHF-A-202:1978, from memory)."""

LINEAR = 1.0
"""Slope of log input against log output beyond the levels measured: an amplifier's gain."""


class Driven(NamedTuple):
    """One capture: x, logarithm of the output's volts; y, of the input's.

    u_input: relative standard uncertainty of the input alone. level, gain: its readings.
    """

    x: float
    y: float
    u_input: float
    level: Reading
    gain: Reading


@derived(
    "sensitivity",
    title="Input sensitivity",
    unit="V",
    better="neither",
    source="IHF-A-202:1978 (from memory); IEC 60268-3 (rated source EMF)",
    version=3,
    choice="generator EMF for 1 W and for the rated power into the load, or for 0.5 V without "
    "one; the middle of what a smooth curve through the measured levels allows, never beyond them",
)
def sensitivity(session: Session) -> Iterator[DerivedResult]:
    """Input voltage that gives a stated output."""
    for points in _series(session):
        for target, volts, watts in _targets(session, points[0].level):
            yield _input_for(points, target, volts, watts)


def _series(session: Session) -> Iterator[list[Driven]]:
    """Levels by rising output, for every output and set of other conditions with two or more."""
    for same in grouped(session.of("level", driven=None, bound=None), _place).values():
        points = sorted(_driven(session, same), key=lambda point: point.x)
        if len(points) >= 2:
            yield points


def _place(r: Reading) -> tuple[object, ...]:
    return (
        r.stimulus, r.unit_key, r.output, r.frequency_hz, r.load_ohm, r.load_kind, r.input, r.tap,
        r.volume, r.controls,
    )  # fmt: skip


def _driven(session: Session, levels: Sequence[Reading]) -> Iterator[Driven]:
    for level in levels:
        gain = session.same_capture("gain", level)
        if gain is None or gain.value is None or not level.value:
            continue
        x = math.log(level.value)
        whole = (gain.uncertainty or 0.0) / DB_PER_RELATIVE
        # The gain's uncertainty holds the output's; what is left is the input's.
        u = math.sqrt(max(whole**2 - relative_uncertainty(level) ** 2, 0.0))
        yield Driven(x, x - gain.value / DB_PER_RELATIVE, u, level, gain)


def _targets(session: Session, like: Reading) -> Iterator[tuple[str, float, float | None]]:
    """What is asked for: in words, the output in V, and in W where there is a load."""
    if like.load_kind != "resistor" or not like.load_ohm:
        yield exact(REFERENCE_VOLT, "V"), REFERENCE_VOLT, None
        return
    rated = session.rated_power_w.get(like.unit_key)
    wanted = [(exact(REFERENCE_WATT, "W"), REFERENCE_WATT)]
    for target, watts in wanted + ([("rated power", rated)] if rated else []):
        yield target, math.sqrt(watts * like.load_ohm), watts


def _input_for(
    points: Sequence[Driven], label: str, volts: float, watts: float | None
) -> DerivedResult:
    target, detail = math.log(volts), {"for": label}
    sources = tuple(r for point in points for r in (point.level, point.gain))
    if not points[0].x <= target <= points[-1].x:
        low, high = (math.exp(point.x) for point in (points[0], points[-1]))
        reason = (
            f"measured from {in_text(low, 'V')} to {in_text(high, 'V')}, which does not "
            f"hold {in_text(volts, 'V')}; record a tone at an output of {in_text(volts, 'V')} "
            f"or slightly {'less' if volts < low else 'more'}"
        )
        return RefusedDerivation(reason, points[0].level, sources, detail=detail)
    pairs = list(itertools.pairwise(points))
    i = next(i for i, (_, above) in enumerate(pairs) if target <= above.x)
    below, above = pairs[i]
    width = above.x - below.x
    fraction = (target - below.x) / width if width else 0.0
    slope = (above.y - below.y) / width if width else 1.0
    level = max((below, above), key=lambda point: relative_uncertainty(point.level)).level
    load = (level.load_uncertainty or 0.0) / 2 if watts else 0.0
    bracket = value_between([Place(p.x, p.y) for p in points], i, fraction, LINEAR)
    value, bent = math.exp(bracket.middle), bracket.u
    own = math.hypot(slope * relative_estimation(level), bent)
    shared = math.hypot(
        max(below.u_input, above.u_input), slope * relative_uncertainty(level), slope * load
    )
    figure = MeasuredValue(value, value * math.hypot(shared, bent), value * own, detail=detail)
    return Derived(figure, below.level, sources, power_w=watts)


@derived(
    "input_at_limit",
    title="Input at a distortion limit",
    unit="V",
    better="higher",
    source="IEC 60268-3 (overload source EMF)",
    version=4,
    choice="last rise through the limit, the middle of what a smooth curve through the measured "
    "levels allows; all harmonics up to 20 kHz, or where detail says so harmonics 2 to 10 as far "
    "as they were recorded",
)
def input_at_limit(session: Session) -> Iterator[DerivedResult]:
    """The greatest input voltage at which distortion is within the limit."""
    yield from input_limits(session)


def input_limits(session: Session) -> Iterator[DerivedResult]:
    """The greatest input, V, at each usual limit, of every output and set of other conditions."""
    for points in _series(session):
        by_input = apart(sorted(_distorting(session, points), key=lambda level: level.x))
        for levels in grouped(by_input, _band).values():
            if len(levels) >= LEAST_LEVELS:
                for limit in LIMITS_PERCENT:
                    yield _greatest(levels, limit)


def _band(level: PowerLevel) -> tuple[object, ...]:
    """Which harmonics a level's distortion holds: those of different bands make no one curve."""
    return level.distortion.metric, *sorted(level.distortion.detail.items())


def _distorting(session: Session, points: Sequence[Driven]) -> Iterator[PowerLevel]:
    """Distortion against the input, each level with its output in the place of its power."""
    for point in points:
        distortion = widest_distortion(session, point.level)
        if distortion is not None and distortion.value and distortion.bound != "lower":
            yield PowerLevel(
                x=point.y,
                y=math.log(distortion.value),
                u=point.u_input,
                own=0.0,
                u_distortion=relative_uncertainty(distortion),
                power=point.level,
                distortion=distortion,
            )


def _greatest(every: Sequence[PowerLevel], limit: float) -> DerivedResult:
    target, detail = math.log(limit), kind_of_distortion(every)
    sources = tuple(r for level in every for r in (level.power, level.distortion))
    levels = known_at(every, target)
    sure = surely_within(levels, target)
    if sure and levels[-1].y < target:
        last = sure[-1]
        volts = math.exp(last.x)
        figure = MeasuredValue(
            volts, volts * last.u, 0.0, bound="lower", limit_percent=limit, detail=detail
        )
        return Derived(figure, last.power, sources)
    rises = [i for i, (a, b) in enumerate(itertools.pairwise(levels)) if a.y < target <= b.y]
    if not sure or not rises:
        least = math.exp(min(level.y for level in every))
        reason = (
            f"distortion is {in_text(least, '%', 2)} or more at every input that was measured, "
            f"and the limit is {in_text(limit, '%')}: record tones at lower inputs"
        )
        return RefusedDerivation(
            reason, every[-1].power, sources, limit_percent=limit, detail=detail
        )
    crossed = crossing(levels, rises[-1], target)
    volts = math.exp(crossed.x)
    figure = MeasuredValue(
        volts, volts * crossed.u, volts * crossed.own, limit_percent=limit, detail=detail
    )
    return Derived(figure, crossed.below.power, sources)
