"""Where an output stops following its drive: gain compression and the onset of clipping."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence

from backbench.metrics.declaration import MeasuredValue, derived
from backbench.metrics.power_sweep import PowerLevel, kind_of_distortion, series, sources
from backbench.metrics.session import (
    Derived,
    DerivedResult,
    Reading,
    RefusedDerivation,
    Session,
    grouped,
)
from backbench.metrics.session_spreads import ONE_SWEEP
from backbench.metrics.traits import Traits
from backbench.signal.between_steps import Bracket

FAMILY = "Power and headroom"

LEAST_LEVELS = 3
STEEP = 2.0
"""Exponent of power with which distortion rises where an output is being limited.

A transfer of order n has distortion that rises as power to (n - 1) / 2: orders up to the fifth
stay at or below 2, a limit rises faster.
"""


@derived(
    "gain_compression",
    title="Gain compression",
    unit="dB",
    better="nearer zero",
    source="common practice, no source",
    version=1,
    choice="gain at each level less that at the smallest one; at least three levels",
    traits=Traits(session_spread=ONE_SWEEP),
)
def gain_compression(session: Session) -> Iterator[Derived]:
    """Gain at a level re the gain at the smallest level measured; below 0 where it falls."""
    gains = [r for r in session.of("gain") if r.stimulus in {"tone", "steps"} and r.generator_vrms]
    for same in grouped(gains, _place).values():
        rising = sorted(same, key=lambda r: r.generator_vrms or 0.0)
        smallest = rising[0]
        others = [r for r in rising if (r.generator_vrms or 0.0) > (smallest.generator_vrms or 0.0)]
        if len({r.generator_vrms for r in rising}) < LEAST_LEVELS:
            continue
        for reading in others:
            yield Derived(
                _less(reading, smallest), reading, (smallest, reading), power_w=reading.power_w
            )


def _place(r: Reading) -> tuple[object, ...]:
    return (
        r.stimulus, r.unit_key, r.output, r.frequency_hz, r.load_kind, r.load_ohm, r.input, r.tap,
        r.volume, r.controls, r.driven, r.calibration_key,
    )  # fmt: skip


def _less(reading: Reading, smallest: Reading) -> MeasuredValue:
    """Difference in dB. Errors of scale cancel; that the generator's steps do isn't known.

    So the whole uncertainty of one reading counts and that of the other's record.
    """
    value = (reading.value or 0.0) - (smallest.value or 0.0)
    own = math.hypot(reading.estimation or 0.0, smallest.estimation or 0.0)
    return MeasuredValue(
        value, math.hypot(reading.uncertainty or 0.0, smallest.estimation or 0.0), own
    )


@derived(
    "clipping_onset",
    title="Clipping onset",
    unit="W",
    better="higher",
    source="common practice, no source",
    version=4,
    choice="where distortion begins to rise faster than the square of the power, up to the "
    "greatest power measured; the middle, in logarithms, of the levels before and after the one "
    "from which it does, and anywhere between them alike; where it doesn't, at least the level "
    "before the last",
)
def clipping_onset(session: Session) -> Iterator[DerivedResult]:
    """The power at which harmonic distortion turns up steeply."""
    for levels in series(session):
        yield _onset(levels)


def _onset(levels: list[PowerLevel]) -> DerivedResult:
    # Within the last step the curve may turn up after it has fallen: nothing shows that it doesn't.
    detail, last = kind_of_distortion(levels), levels[max(len(levels) - 2, 0)]
    slopes = [_slope(a, b) for a, b in itertools.pairwise(levels)]
    i = _last_run(slopes)
    if i is None:
        power = math.exp(last.x)
        figure = MeasuredValue(
            power, power * last.u, power * last.own, bound="lower", detail=detail
        )
        return Derived(figure, last.power, sources(levels))
    if i == 0:
        reason = "distortion already turns up at the smallest power that was measured"
        return RefusedDerivation(reason, levels[0].power, sources(levels), detail=detail)
    # A mean slope at most this before level i, and above it after: the curve may turn anywhere
    # between the levels on either side of it.
    low, high = levels[i - 1], levels[i + 1]
    bracket = Bracket(low.x, high.x)
    x, step = bracket.middle, bracket.u
    power, u, own = math.exp(x), math.hypot(high.u, step), math.hypot(high.own, step)
    return Derived(
        MeasuredValue(power, power * u, power * own, detail=detail), low.power, sources(levels)
    )


def _slope(a: PowerLevel, b: PowerLevel) -> float:
    return (b.y - a.y) / (b.x - a.x) if b.x > a.x else math.inf


def _last_run(slopes: Sequence[float]) -> int | None:
    """Where the steep rise that ends at the greatest power begins; None where there is none.

    Distortion that has risen to a limit of its own (a square wave) flattens: a steep rise before
    that still counts.
    """
    steep = [i for i, slope in enumerate(slopes) if slope > STEEP]
    if not steep:
        return None
    first = steep[-1]
    while first > 0 and slopes[first - 1] > STEEP:
        first -= 1
    return first
