"""Distortion against power: the levels of one output in order of power, and where it crosses."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from backbench.metrics.session import (
    Reading,
    Session,
    grouped,
    relative_estimation,
    relative_uncertainty,
)
from backbench.signal.between_steps import Bracket, Place, crossing_between, knee_before

LEAST_LEVELS = 3
SAME_POWER = 0.01
"""Powers nearer to each other than this, relative, are one level captured twice."""
COVERAGE = 2.0
PREFERRED, OTHER = "thd_wide", "thd"
WIDER_ABOVE_HZ = 2000.0
HARDLY_ABOVE = math.log(1.1)
"""Log of distortion re a limit, below which a step beyond it may be one that the curve comes back
from: common practice, no source."""
"""Above this the harmonics to the tenth reach beyond 20 kHz: the other distortion is the wider."""


class PowerLevel(NamedTuple):
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
    below: PowerLevel
    above: PowerLevel


def series(session: Session) -> Iterator[list[PowerLevel]]:
    """Levels by rising power, for every output and set of other conditions that has enough."""
    for same in grouped(_distortions(session), _place).values():
        levels = apart(_rising(list(_levels(session, same))))
        if len(levels) >= LEAST_LEVELS:
            yield levels


def _rising(levels: list[PowerLevel]) -> list[PowerLevel]:
    """The levels by rising power, without those at which more drive gave less power.

    Beyond its greatest power a curve comes back, with more distortion, through powers that it has
    passed already: among these it has another value.
    """
    drives = [level.power.generator_vrms or 0.0 for level in levels]
    if not all(drives):
        return sorted(levels, key=lambda level: level.x)
    kept: list[PowerLevel] = []
    for _, level in sorted(zip(drives, levels, strict=True), key=lambda one: (one[0], one[1].x)):
        if not kept or level.x >= kept[-1].x:
            kept.append(level)
    return kept


def apart(levels: Sequence[PowerLevel]) -> list[PowerLevel]:
    """The levels without those that repeat the one before them, whose slope would be chance."""
    kept: list[PowerLevel] = []
    for level in levels:
        if not kept or level.x - kept[-1].x > SAME_POWER:
            kept.append(level)
    return kept


def sources(levels: Sequence[PowerLevel]) -> tuple[Reading, ...]:
    """The readings that levels were made from."""
    return tuple(r for level in levels for r in (level.power, level.distortion))


def kind_of_distortion(levels: Sequence[PowerLevel]) -> dict[str, str]:
    """Detail that tells where another distortion, or less of it, than the usual was taken."""
    distortion = levels[0].distortion
    return {} if distortion.metric == PREFERRED else {"distortion": OTHER, **distortion.detail}


def _distortions(session: Session) -> list[Reading]:
    """Of each capture the distortion that reaches furthest, as far as its band goes."""
    readings = [r for name in (PREFERRED, OTHER) for r in session.of(name)]
    widest = [r for r in readings if widest_distortion(session, r) is r]
    return [r for r in widest if r.power_w and r.value and r.load_ohm and r.bound != "lower"]


def widest_distortion(session: Session, like: Reading) -> Reading | None:
    """Of the capture and output of a reading, the distortion with the most harmonics in band."""
    names = [PREFERRED, OTHER]
    if (like.frequency_hz or 0.0) > WIDER_ABOVE_HZ:
        names.reverse()
    return next((r for name in names if (r := session.same_capture(name, like))), None)


def without_distortion(session: Session) -> Iterator[list[Reading]]:
    """Powers of one output at rising levels, where no distortion could be given at any of them."""
    powers = [
        r for r in session.of("output_power")
        if r.load_ohm and r.frequency_hz and r.driven in (None, r.output)
    ]  # fmt: skip
    bare = [r for r in powers if widest_distortion(session, r) is None]
    for same in grouped(bare, _place).values():
        if len({r.value for r in same}) >= LEAST_LEVELS:
            yield sorted(same, key=lambda r: r.value or 0.0)


def _place(r: Reading) -> tuple[object, ...]:
    return (
        r.metric, r.stimulus, r.unit_key, r.output, r.frequency_hz, r.load_ohm, r.input, r.tap,
        r.volume, r.controls, r.driven, *sorted(r.detail.items()),
    )  # fmt: skip


def _levels(session: Session, distortions: list[Reading]) -> Iterator[PowerLevel]:
    for distortion in distortions:
        power = session.same_capture("output_power", distortion)
        if power is None or not power.value or not distortion.value:
            continue
        yield PowerLevel(
            x=math.log(power.value), y=math.log(distortion.value),
            u=relative_uncertainty(power), own=relative_estimation(power),
            u_distortion=relative_uncertainty(distortion), power=power, distortion=distortion,
        )  # fmt: skip


def crossing(levels: Sequence[PowerLevel], i: int, target: float) -> Crossed:
    """Between level i and the next: the middle of what a smooth curve through the levels allows.

    target: log of the limit in percent, between the distortions of the two; either may be the
    greater. The uncertainty holds the whole bracket, and what noise of the distortion moves it.
    """
    below, above = levels[i], levels[i + 1]
    width = above.x - below.x
    fraction = (target - below.y) / (above.y - below.y)
    noise = math.hypot((1 - fraction) * below.u_distortion, fraction * above.u_distortion)
    distortion = noise * width / abs(above.y - below.y)
    bracket = bracket_of(levels, i, target)
    own = math.hypot(max(below.own, above.own), distortion, bracket.u)
    u = math.hypot(max(below.u, above.u), distortion, bracket.u)
    return Crossed(bracket.middle, u, own, below, above)


def bracket_of(levels: Sequence[PowerLevel], i: int, target: float) -> Bracket:
    """Where the crossing between level i and the next can lie, in x.

    A later level that is hardly above the target, before a knee, doesn't exclude that the curve
    comes back to it before the knee (crossover distortion that the first clipping cancels): then
    the bracket reaches to where the line beyond the knee meets the target.
    """
    steps = places(levels)
    bracket = crossing_between(steps, i, target)
    if levels[i + 1].y < target:
        return bracket
    for j in range(i + 1, len(levels) - 1):
        if levels[j].y - target < HARDLY_ABOVE:
            bracket = bracket.reaching(knee_before(steps, j, target))
    return bracket


def places(levels: Sequence[PowerLevel]) -> list[Place]:
    """The levels as points of the curve of distortion against power."""
    return [Place(level.x, level.y, level.bounded) for level in levels]


def known_at(levels: Sequence[PowerLevel], target: float) -> list[PowerLevel]:
    """The levels of which it is known on which side of the target their distortion lies.

    A distortion known to be at most something above the limit may be within it or not.
    """
    return [level for level in levels if not (level.bounded and level.y >= target)]


def surely_within(levels: Sequence[PowerLevel], target: float) -> list[PowerLevel]:
    """The levels whose distortion is below the target, its own uncertainty included."""
    return [level for level in levels if level.y + COVERAGE * level.u_distortion < target]
