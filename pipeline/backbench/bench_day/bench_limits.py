"""Captures that the rate, the generator or the recorder of a bench can't give, with the reason."""

from __future__ import annotations

import math

from backbench.bench_day.measuring_chain import Chain
from backbench.bench_day.planned_capture import PlannedStep
from backbench.documents.stimuli import (
    Multitone,
    SquareAndSine,
    SquareWave,
    Stimulus,
    Sweep,
    Tone,
    TwoTones,
)
from backbench.quantities.writing import in_text
from backbench.signal.tone import EDGE, PASS_BAND

SQUARE_RATE_HZ = 192_000
"""Below it the recorder's own edges are slower than those of most amplifiers."""
MANY_CREST = 3.5
SQUARE_AND_SINE_CREST = 1.4
"""A square wave of crest 1 with a quarter of sine on top, and overshoot."""
SQUARE_AND_SINE_TOP_HZ = 40_000.0
"""Edges of fewer harmonics stress no amplifier; common practice, no source."""
OVERSHOOT = 1.3
"""Peak of a square wave at an output re its level, for which the range is chosen."""


def crest(stimulus: Stimulus) -> float:
    """Peak over rms of a stimulus at an output; of a square wave over half its peak to peak."""
    match stimulus:
        case TwoTones():
            return math.sqrt(2) * (1 + stimulus.ratio) / math.hypot(1, stimulus.ratio)
        case SquareAndSine():
            return SQUARE_AND_SINE_CREST
        case Multitone():
            return MANY_CREST
        case SquareWave():
            return OVERSHOOT
    return math.sqrt(2)


def top_hz(rate_hz: float) -> float:
    """The highest frequency that a recorder of this rate holds, Hz."""
    return PASS_BAND * EDGE * rate_hz


def beyond(step: PlannedStep, chain: Chain, rate_hz: float) -> str | None:
    """Why a capture can't be taken on this bench; None where it can."""
    return _beyond_rate(step.stimulus, rate_hz) or (
        None if step.loop_back else _beyond_range(step, chain)
    ) or _beyond_generator(step, chain)  # fmt: skip


def _beyond_rate(stimulus: Stimulus, rate_hz: float) -> str | None:
    if isinstance(stimulus, SquareWave):
        slow = rate_hz < SQUARE_RATE_HZ
        return f"edges need a sample rate of {in_text(SQUARE_RATE_HZ, 'Hz', 6)}" if slow else None
    needed, what = _highest(stimulus)
    if needed <= top_hz(rate_hz):
        return None
    least = in_text(math.ceil(needed / top_hz(1.0) / 1000) * 1000, "Hz", 6)
    return f"{what} needs a sample rate of at least {least}"


def _highest(stimulus: Stimulus) -> tuple[float, str]:
    """The highest line that its figures need, Hz, and what it is."""
    match stimulus:
        case Tone():
            played = stimulus.file_rate_hz is not None
            return (
                (stimulus.tone_hz, "the tone")
                if played
                else (3 * stimulus.tone_hz, "the third harmonic")
            )
        case TwoTones():
            low, high = stimulus.tones_hz
            return (
                2 * high - low if stimulus.ratio == 1 else high + 2 * low
            ), "the highest product"
        case SquareAndSine():
            return SQUARE_AND_SINE_TOP_HZ, "the square wave's edge"
        case Sweep():
            return stimulus.sweep_hz[1], "the end of the sweep"
        case Multitone():
            return max(stimulus.multitone_hz), "the highest tone"
    return 0.0, ""


def _beyond_range(step: PlannedStep, chain: Chain) -> str | None:
    peak = (step.out_vrms or 0.0) * crest(step.stimulus)
    if not chain.ranges or chain.holds(peak):
        return None
    return (
        "no input range holds the output; put an attenuator before it and calibrate with it as a "
        "range of its own"
    )


def _beyond_generator(step: PlannedStep, chain: Chain) -> str | None:
    peak = generator_peak(step.stimulus)
    if chain.full_scale_v is None or peak is None or peak <= chain.full_scale_v:
        return None
    return (
        f"the generator reaches no more than {in_text(chain.full_scale_v, 'V')} (peak); put gain "
        "behind it"
    )


def generator_peak(stimulus: Stimulus) -> float | None:
    """Peak of the generator's EMF, V; None where the level isn't known."""
    level = getattr(stimulus, "generator_vrms", None)
    if isinstance(level, float):
        return level * crest(stimulus)
    level = getattr(stimulus, "generator_vpp", None)
    return 0.6 * level if isinstance(level, float) else None
