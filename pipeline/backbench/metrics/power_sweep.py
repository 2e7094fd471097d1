"""Distortion against power: the levels of one output in order of power, and where it crosses."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple, Protocol

from backbench.metrics.session import (
    Reading,
    Session,
    grouped,
    relative_estimation,
    relative_uncertainty,
)

LEAST_LEVELS = 3
SAME_POWER = 0.01
"""Powers nearer to each other than this, relative, are one level captured twice."""
PREFERRED, OTHER = "thd_wide", "thd"
WIDER_ABOVE_HZ = 2000.0
"""Above this the harmonics to the tenth reach beyond 20 kHz: the other distortion is the wider."""


class Placed(Protocol):
    """A point of a curve that was measured at few places."""

    @property
    def x(self) -> float: ...
    @property
    def y(self) -> float: ...


class Level(NamedTuple):
    """One level: logarithms of power in W and distortion in percent, with their readings.

    u, own: relative standard uncertainty of the power, and the part from the record alone.
    """

    x: float
    y: float
    u: float
    own: float
    u_distortion: float
    power: Reading
    distortion: Reading

    @property
    def bounded(self) -> bool:
        """Whether the distortion is only known to be at most this."""
        return self.distortion.bound == "upper"


class Crossed(NamedTuple):
    """Where distortion crosses the limit: log power, its uncertainties, the levels beside it."""

    x: float
    u: float
    own: float
    below: Level
    above: Level


def series(session: Session) -> Iterator[list[Level]]:
    """Levels by rising power, for every output and set of other conditions that has enough."""
    for same in grouped(_distortions(session), _place).values():
        levels = _apart(sorted(_levels(session, same), key=lambda level: level.x))
        if len(levels) >= LEAST_LEVELS:
            yield levels


def _apart(levels: Sequence[Level]) -> list[Level]:
    """The levels without those that repeat the one before them, whose slope would be chance."""
    kept: list[Level] = []
    for level in levels:
        if not kept or level.x - kept[-1].x > SAME_POWER:
            kept.append(level)
    return kept


def sources(levels: Sequence[Level]) -> tuple[Reading, ...]:
    """The readings that levels were made from."""
    return tuple(r for level in levels for r in (level.power, level.distortion))


def kind_of_distortion(levels: Sequence[Level]) -> dict[str, str]:
    """Detail that tells where another distortion, or less of it, than the usual was taken."""
    distortion = levels[0].distortion
    return {} if distortion.metric == PREFERRED else {"distortion": OTHER, **distortion.detail}


def _distortions(session: Session) -> list[Reading]:
    """Of each capture the distortion that reaches furthest, as far as its band goes."""
    found = [r for name in (PREFERRED, OTHER) for r in session.of(name)]
    widest = [r for r in found if widest_distortion(session, r) is r]
    return [r for r in widest if r.power_w and r.value and r.load_ohm and r.bound != "lower"]


def widest_distortion(session: Session, like: Reading) -> Reading | None:
    """Of the capture and output of a reading, the distortion with the most harmonics in band."""
    names = [PREFERRED, OTHER]
    if (like.frequency_hz or 0.0) > WIDER_ABOVE_HZ:
        names.reverse()
    return next((r for name in names if (r := session.same_capture(name, like))), None)


def without_distortion(session: Session) -> Iterator[list[Reading]]:
    """Powers of one output at rising levels, where no distortion could be given at any of them."""
    powers = [r for r in session.of("output_power") if r.load_ohm and r.frequency_hz]
    bare = [r for r in powers if widest_distortion(session, r) is None]
    for same in grouped(bare, _place).values():
        if len({r.value for r in same}) >= LEAST_LEVELS:
            yield sorted(same, key=lambda r: r.value or 0.0)


def _place(r: Reading) -> tuple[object, ...]:
    return (
        r.metric, r.stimulus, r.unit_key, r.output, r.frequency_hz, r.load_ohm, r.input, r.tap,
        r.volume, r.controls, r.driven, *sorted(r.detail.items()),
    )  # fmt: skip


def _levels(session: Session, distortions: list[Reading]) -> Iterator[Level]:
    for distortion in distortions:
        power = session.same_capture("output_power", distortion)
        if power is None or not power.value or not distortion.value:
            continue
        yield Level(
            math.log(power.value), math.log(distortion.value),
            relative_uncertainty(power), relative_estimation(power),
            relative_uncertainty(distortion), power, distortion,
        )  # fmt: skip


def crossing(levels: Sequence[Level], i: int, target: float) -> Crossed:
    """Between level i and the next, straight in log power and log distortion.

    target: log of the limit in percent, between the distortions of the two; either may be the
    greater. The uncertainty holds how far the curvature at either end lets the curve lie off.
    """
    below, above = levels[i], levels[i + 1]
    width = above.x - below.x
    slope = abs(above.y - below.y) / width if width > 0 else math.inf
    share = (target - below.y) / (above.y - below.y)
    distortion = math.hypot((1 - share) * below.u_distortion, share * above.u_distortion) / slope
    bent = bend(levels, i, share) / slope / math.sqrt(3)
    # No curve that runs one way between the two can cross outside them.
    bent = min(bent, width / math.sqrt(12))
    own = math.hypot(max(below.own, above.own), distortion, bent)
    u = math.hypot(max(below.u, above.u), distortion, bent)
    return Crossed(below.x + share * width, u, own, below, above)


def bend(levels: Sequence[Placed], i: int, share: float) -> float:
    """How far y may lie from the straight line between point i and the next, at a share of their
    distance in x, by the curvature at either end."""
    slopes = {
        j: (levels[j + 1].y - levels[j].y) / (levels[j + 1].x - levels[j].x)
        for j in (i - 1, i, i + 1)
        if 0 <= j < len(levels) - 1 and levels[j + 1].x > levels[j].x
    }
    middles = {j: (levels[j + 1].x + levels[j].x) / 2 for j in slopes}
    if i not in slopes:
        return 0.0
    curvatures = [
        abs((slopes[j] - slopes[i]) / (middles[j] - middles[i])) for j in slopes if j != i
    ]
    width = levels[i + 1].x - levels[i].x
    return max(curvatures, default=0.0) / 2 * share * (1 - share) * width**2
