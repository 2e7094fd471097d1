"""Greatest power at a distortion limit, from tones at rising levels."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from typing import NamedTuple

from backbench.metrics.across import (
    Derived,
    Reading,
    RefusedDerivation,
    Session,
    grouped,
    relative_estimation,
    relative_uncertainty,
    same_capture,
)
from backbench.metrics.declare import Figure, derived

LIMITS_PERCENT = (0.1, 1.0, 3.0, 10.0)
LEAST_LEVELS = 3
PREFERRED, OTHER = "thd_wide", "thd"


class _Step(NamedTuple):
    """One level: logarithms of power and distortion, with their readings.

    u, own: relative standard uncertainty of the power, and the part from the record alone.
    """

    x: float
    y: float
    u: float
    own: float
    u_distortion: float
    power: Reading
    distortion: Reading


class _Crossed(NamedTuple):
    """Where distortion passes the limit: log power, its uncertainties, the steps used."""

    x: float
    u: float
    own: float
    below: _Step
    above: _Step


@derived(
    "power_at_limit",
    title="Output power at a distortion limit",
    unit="W",
    better="higher",
    source="IEC 60268-3 (distortion-limited output power)",
    version=1,
    choice="last rise through the limit, all harmonics up to 20 kHz, between measured levels",
)
def power_at_limit(session: Session) -> Iterator[Derived | RefusedDerivation]:
    """The power at which distortion passes the limit for the last time, going up."""
    for same in grouped(_distortions(session), _place).values():
        steps = sorted(_steps(session, same), key=lambda step: step.x)
        if len(steps) < LEAST_LEVELS:
            continue
        for limit in LIMITS_PERCENT:
            yield _at(steps, limit)


def _distortions(session: Session) -> list[Reading]:
    """The wide reading of each capture that has one, else the other."""
    wide = session.of(PREFERRED)
    narrow = [r for r in session.of(OTHER) if same_capture(session, PREFERRED, r) is None]
    return [r for r in wide + narrow if r.power_w and r.value and r.load_ohm and r.bound != "lower"]


def _place(r: Reading) -> tuple[object, ...]:
    return (
        r.metric, r.stimulus, r.unit_key, r.output, r.frequency_hz, r.load_ohm, r.input, r.tap,
        r.volume, r.driven,
    )  # fmt: skip


def _steps(session: Session, distortions: list[Reading]) -> Iterator[_Step]:
    for distortion in distortions:
        power = same_capture(session, "output_power", distortion)
        if power is None or not power.value or not distortion.value:
            continue
        yield _Step(
            math.log(power.value), math.log(distortion.value),
            relative_uncertainty(power), relative_estimation(power),
            relative_uncertainty(distortion), power, distortion,
        )  # fmt: skip


def _at(steps: list[_Step], limit: float) -> Derived | RefusedDerivation:
    target = math.log(limit)
    sources = tuple(r for step in steps for r in (step.power, step.distortion))
    detail = {} if steps[0].distortion.metric == PREFERRED else {"distortion": OTHER}
    last = steps[-1]
    if last.y < target:
        power = math.exp(last.x)
        figure = Figure(
            power, power * last.u, power * last.own, bound="lower", limit_percent=limit,
            detail=detail,
        )  # fmt: skip
        return Derived(figure, last.power, sources)
    rises = [i for i, (a, b) in enumerate(itertools.pairwise(steps)) if a.y < target <= b.y]
    if not rises:
        least = math.exp(min(step.y for step in steps))
        reason = f"distortion is {least:.2g} % or more at every power that was measured"
        return RefusedDerivation(reason, last.power, sources, limit_percent=limit, detail=detail)
    crossed = _crossed(steps, rises[-1], target)
    power = math.exp(crossed.x)
    figure = Figure(
        power, power * crossed.u, power * crossed.own, limit_percent=limit, detail=detail
    )
    return Derived(figure, crossed.below.power, sources)


def _crossed(steps: list[_Step], i: int, target: float) -> _Crossed:
    """Straight between two levels in log power and log distortion."""
    below, above = steps[i], steps[i + 1]
    width = above.x - below.x
    slope = (above.y - below.y) / width if width > 0 else math.inf
    share = (target - below.y) / (above.y - below.y)
    distortion = math.hypot((1 - share) * below.u_distortion, share * above.u_distortion) / slope
    bent = _bend(steps, i, share) / slope / math.sqrt(3)
    # No curve that rises between the two can cross outside them.
    bent = min(bent, width / math.sqrt(12))
    own = math.hypot(max(below.own, above.own), distortion, bent)
    u = math.hypot(max(below.u, above.u), distortion, bent)
    return _Crossed(below.x + share * width, u, own, below, above)


def _bend(steps: list[_Step], i: int, share: float) -> float:
    """How far log distortion may lie from the straight line, by its curvature at either end."""
    slopes = {
        j: (steps[j + 1].y - steps[j].y) / (steps[j + 1].x - steps[j].x)
        for j in (i - 1, i, i + 1)
        if 0 <= j < len(steps) - 1 and steps[j + 1].x > steps[j].x
    }
    middles = {j: (steps[j + 1].x + steps[j].x) / 2 for j in slopes}
    if i not in slopes:
        return 0.0
    curvatures = [
        abs((slopes[j] - slopes[i]) / (middles[j] - middles[i])) for j in slopes if j != i
    ]
    width = steps[i + 1].x - steps[i].x
    return max(curvatures, default=0.0) / 2 * share * (1 - share) * width**2
