"""The captures of an amplifier: low power first, then across loads, then rising power."""

from __future__ import annotations

import math
from collections.abc import Iterator

from backbench.bench_day.bench_limits import crest
from backbench.bench_day.capture_names import number_in_name, tone_file
from backbench.bench_day.common_steps import (
    PAIRS,
    PlannedSteps,
    between_outputs,
    idles,
    separation,
    several,
    squares,
    sweep,
    tone,
    tracking,
    two_tones,
)
from backbench.bench_day.hard_steps import above_the_band, alone, overload
from backbench.bench_day.planned_capture import PlannedStep
from backbench.bench_day.planning_session import PlanningSession
from backbench.bench_day.published_conditions import promised

SHARES = (0.1, 0.25, 0.5, 0.75, 1.0, 1.15, 1.3, 1.5)
"""Of the rated power, rising; past it, so that the limit of distortion is crossed."""


def amplifier(session: PlanningSession) -> PlannedSteps:
    """Low power first, then across loads, then rising power; the hardest last."""
    load, low = session.loads[0], _low(session)
    yield from idles(session, load)
    yield session.powered(tone_file(1000, low, load), low, load, tone(1000.0),
                          between_outputs(session, "gain and distortion at low power"))  # fmt: skip
    yield from _across_loads(session, low)
    yield from tracking(session, session.chain.level(math.sqrt(low * load), load), load)
    for hz in (20.0, 20_000.0):
        yield session.powered(tone_file(hz, low, load), low, load, tone(hz),
                              "distortion and level at the end of the band")  # fmt: skip
    yield from sweep(session, math.sqrt(low * load), load)
    yield from separation(session, math.sqrt(low * load), load)
    middle = min(5.0, session.rated_w / 2)
    yield from several(session, math.sqrt(middle * load), load)
    yield from _pairs_at(session, 0.1 * session.rated_w, load, middle)
    hard = [*_rising(session, load, middle), *promised(session)]
    hard = sorted((s for s in hard if (s.power_w or 0) > low), key=_volts)
    half = math.sqrt(0.5 * session.rated_w * load)
    yield from (step for step in hard if _volts(step) <= half)
    yield from _pairs_at(session, 0.5 * session.rated_w, load, middle)
    yield from squares(session, math.sqrt(low * load), load)
    yield from (step for step in hard if _volts(step) > half)
    yield from alone(session, load)
    yield from above_the_band(session, load)
    yield from overload(session, load)


def _pairs_at(
    session: PlanningSession, power_w: float, load: float, known_w: float
) -> PlannedSteps:
    """Two tones at the peaks of a sine of another power than the known one."""
    if abs(power_w / known_w - 1) <= 0.1:
        return
    peak = math.sqrt(2 * power_w * load)
    for name, (pair, ratio, _) in PAIRS.items():
        make = two_tones(pair, ratio)
        yield session.at(f"{name}-{number_in_name(power_w)}w.wav", peak / crest(make("unknown")),
                         load, make, "intermodulation against power")  # fmt: skip


def _low(session: PlanningSession) -> float:
    """1 W, or a tenth of the rated power of a small amplifier."""
    return 1.0 if session.rated_w >= 4 else session.rated_w / 10


def _volts(step: PlannedStep) -> float:
    return step.out_vrms or 0.0


def _across_loads(session: PlanningSession, low: float) -> PlannedSteps:
    """The same generator level into other loads: output impedance and damping."""
    load = session.loads[0]
    volts = math.sqrt(low * load)
    others: list[float | str] = list(session.other_loads)
    if not session.transformers:
        others.insert(0, "open")
    elif not others:
        yield ("output impedance is left out: name a second load with --load; an output "
               "transformer must not run open")  # fmt: skip
    level = session.chain.level(volts, load)
    for other in others:
        name = "open" if other == "open" else f"{number_in_name(float(other))}ohm"
        yield session.set_to(f"tone-1k-{name}.wav", tone(1000.0)(level), other,
                             "output impedance: the same level into another load",
                             volts=volts)  # fmt: skip


def _rising(session: PlanningSession, load: float, middle: float) -> Iterator[PlannedStep]:
    known = (_low(session), middle)
    powers = [session.rated_w * share for share in SHARES]
    apart = [power for power in powers if all(abs(power / one - 1) > 0.1 for one in known)]
    for power in sorted([middle, *apart]):
        why = _reason(power / session.rated_w)
        yield session.powered(tone_file(1000, power, load), power, load, tone(1000.0), why)


def _reason(share: float) -> str:
    if share > 1:
        return "greatest power at a limit"
    return "rated power" if share == 1 else "distortion against power"
