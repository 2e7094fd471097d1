"""Loop-backs: the bench alone, in the ranges and at the levels that the captures use."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence

from backbench.bench_day.bench_limits import crest
from backbench.bench_day.capture_names import number_in_name
from backbench.bench_day.common_steps import PlannedSteps, played_file, swept
from backbench.bench_day.planned_capture import PlannedStep
from backbench.bench_day.planning_session import PlanningSession
from backbench.documents.clear_frequencies import round_hz, round_pair_hz
from backbench.documents.stimuli import Idle, Stimulus, Sweep, Tone, TwoTones
from backbench.quantities.writing import in_text

APART = 2.0
"""Levels of loop-backs: the bench's own distortion is known between two that are this near."""
SWEPT_V = 1.0


def loop_backs(session: PlanningSession, steps: Sequence[PlannedStep]) -> PlannedSteps:
    """The loop-backs that the figures of these captures need, and what is out of reach."""
    reached = True
    for (name, range_name), group in _alike(steps).items():
        first = group[0].stimulus
        if isinstance(first, Idle):
            yield session.bench_alone(
                f"loop-back-idle{_suffix(range_name)}.wav", Idle(idle="generator off"), 0.0,
                range_name, "the bench's own noise")  # fmt: skip
            continue
        if isinstance(first, Sweep) and played_file(session, "") is None:
            continue
        levels = [step.out_vrms for step in group if step.out_vrms]
        most = _reach(session, first)
        reached &= all(level <= most for level in levels)
        for level in _spaced([min(level, most) for level in levels]):
            file = f"loop-back-{name}-{number_in_name(level)}v{_suffix(range_name)}.wav"
            stimulus = _at_level(session, first, level, f"played-{file}")
            yield session.bench_alone(file, stimulus, level, range_name, _why(first))
    if not reached:
        yield _ceiling(session)


def _alike(steps: Sequence[PlannedStep]) -> dict[tuple[str, str | None], list[PlannedStep]]:
    """Captures that a loop-back may serve, by stimulus and input range, in order."""
    groups: dict[tuple[str, str | None], list[PlannedStep]] = {}
    for step in steps:
        name = _name(step.stimulus)
        if name is not None and not step.loop_back:
            groups.setdefault((name, step.conditions.range), []).append(step)
    return groups


def _name(stimulus: Stimulus) -> str | None:
    """Of a stimulus whose loop-backs are used; None for others."""
    match stimulus:
        case Idle():
            return "idle"
        case Tone():
            return number_in_name(round_hz(stimulus.tone_hz))
        case TwoTones():
            return "-".join(number_in_name(hz) for hz in round_pair_hz(stimulus.tones_hz))
        case Sweep():
            return "sweep"
    return None


def _suffix(range_name: str | None) -> str:
    kept = "".join(c for c in (range_name or "").lower() if c.isalnum() or c == ".")
    return f"-{kept}-range" if kept else ""


def _why(stimulus: Stimulus) -> str:
    swept_one = isinstance(stimulus, Sweep)
    return "the bench's own response" if swept_one else "the bench's own distortion; drift"


def _at_level(session: PlanningSession, like: Stimulus, level: float, played: str) -> Stimulus:
    if isinstance(like, Sweep):
        return swept(session, played)(level)
    return like.model_copy(update={"generator_vrms": level})


def _reach(session: PlanningSession, stimulus: Stimulus) -> float:
    """The greatest volts (rms) of a stimulus that the generator gives."""
    full = session.chain.full_scale_v
    if full is None:
        return math.inf
    return math.floor(1000 * 0.99 * full / crest(stimulus)) / 1000


def _spaced(levels: Sequence[float]) -> Iterator[float]:
    """The least and the greatest level, and between them no more than 6 dB apart."""
    rising = sorted({float(f"{level:.3g}") for level in levels})
    kept = 0.0
    for level, following in itertools.zip_longest(rising, rising[1:], fillvalue=math.inf):
        if following > APART * kept:
            kept = level
            yield kept


def _ceiling(session: PlanningSession) -> str:
    full = session.chain.full_scale_v or 0.0
    return (
        f"the generator reaches {in_text(full, 'V')} (peak): at greater output volts no loop-back "
        "can be taken, and of the bench's own distortion there only a ceiling is known"
    )
