"""Steps that narrow a power at a limit of distortion, once the first steps were measured."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from backbench.bench_day.capture_names import tone_file
from backbench.bench_day.common_steps import PlannedSteps, tone
from backbench.bench_day.planned_capture import PlannedStep
from backbench.bench_day.planning_session import PlanningSession
from backbench.documents.clear_frequencies import clear_hz
from backbench.metrics.limit_brackets import LimitBracket
from backbench.quantities.writing import exact, in_text

NARROW = 0.04
"""Width of a bracket, relative, that is left: 0.2 dB, about what a load and a calibration leave."""
WIDE = 0.1
"""Width from which three steps are taken rather than two."""
APART = 0.015
"""Powers nearer to each other than this, relative, are one step."""
SAME_LOAD = 0.05
ROUND_HZ = 1000.0


def narrowing(session: PlanningSession, brackets: Sequence[LimitBracket]) -> PlannedSteps:
    """Two or three tones inside each bracket that is still wide, rising, of the nominal load."""
    load = session.loads[0]
    fitting = [one for one in brackets if _fits(one, load)]
    taken: list[float] = []
    for limit in sorted({one.limit_percent for one in fitting}):
        same = [one for one in fitting if one.limit_percent == limit]
        low, high = min(one.low_w for one in same), max(one.high_w for one in same)
        if high / low - 1 <= NARROW:
            continue
        yield (
            f"power at {exact(limit, '%')} distortion is known from {in_text(low, 'W')} to "
            f"{in_text(high, 'W')}: tones between them narrow it"
        )
        for power in powers_inside(low, high):
            if all(abs(power / other - 1) > APART for other in taken):
                taken.append(power)
                yield _step(session, same[0], power, load)


def _fits(one: LimitBracket, load: float) -> bool:
    """Whether a bracket is of the plan's own tones: near 1 kHz, into the nominal load."""
    hz, own = one.like.frequency_hz, one.like.load_ohm
    return (
        hz is not None
        and abs(hz / clear_hz(ROUND_HZ) - 1) < 0.01
        and own is not None
        and abs(own / load - 1) <= SAME_LOAD
        and one.like.stimulus == "tone"
    )


def powers_inside(low: float, high: float) -> Iterator[float]:
    """Powers that part a bracket evenly in decibels: three of a wide one, else two."""
    parts = 4 if high / low - 1 > WIDE else 3
    for n in range(1, parts):
        yield low * (high / low) ** (n / parts)


def _step(
    session: PlanningSession, bracket: LimitBracket, power: float, load: float
) -> PlannedStep:
    """A tone of that power, its generator level from the measured steps beside it."""
    why = f"narrows the power at {exact(bracket.limit_percent, '%')} distortion"
    step = session.powered(tone_file(ROUND_HZ, power, load), power, load, tone(ROUND_HZ), why)
    level = bracket.generator_v(power)
    if level is None:
        return step
    return step.model_copy(update={"stimulus": tone(ROUND_HZ)(float(f"{level:.4g}"))})
