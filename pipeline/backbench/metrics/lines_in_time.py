"""The lines of a capture from block to block in time, by the kind of its stimulus."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from backbench.documents.stimuli import Multitone, SquareWave, Stimulus, Tone, TwoTones
from backbench.metrics.multitone import tone_spacing
from backbench.metrics.two_tones_view import pair_spacing
from backbench.signal.intermodulation import seek_tones, shortest_apart_s
from backbench.signal.line_course import LineCourse
from backbench.signal.record_checks import SHORTEST_S
from backbench.signal.tone import PASS_BAND
from backbench.signal.tone_course import (
    background_ratio,
    background_ratio_of_tones,
    tone_course,
    tones_course,
)
from backbench.signal.tone_search import FULL_PERIODS, seek_tone
from backbench.signal.track import Track
from backbench.signal.waveform_period import period_course

EDGE_RAD = 0.3
"""How far the highest harmonic of a square wave may turn within a record: its mean is then 1 %
lower, and edges are a hundredth of the converter's own slower."""


class InTime(NamedTuple):
    """Lines from block to block, what stands beside them, share of their power, and how far their
    phases may wander, rad."""

    course: LineCourse
    background_ratio: float
    wander: float = math.inf


def lines_in_time(track: Track, stimulus: Stimulus, mains_hz: float | None) -> InTime | None:
    """How the lines of a stimulus hold in a track; None for a stimulus without steady lines.

    Raises Refusal where the track doesn't hold them, ValueError where it is too short for blocks.
    """
    if isinstance(stimulus, Tone):
        lines = seek_tone(track, stimulus.tone_hz, mains_hz)
        return InTime(tone_course(track, lines), background_ratio(lines))
    if isinstance(stimulus, SquareWave):
        course, noise = period_course(track, stimulus.square_hz, mains_hz)
        highest = max(PASS_BAND * track.rate_hz / stimulus.square_hz, 1.0)
        return InTime(course, noise, EDGE_RAD / highest)
    if isinstance(stimulus, TwoTones):
        return _of_tones(track, stimulus.tones_hz, pair_spacing(stimulus), mains_hz)
    if isinstance(stimulus, Multitone):
        stated = sorted(stimulus.multitone_hz)
        return _of_tones(track, stated, tone_spacing(stimulus), mains_hz)
    return None


def _of_tones(
    track: Track, stated_hz: Sequence[float], apart_hz: float, mains_hz: float | None
) -> InTime:
    tones = seek_tones(track, stated_hz, apart_hz, mains_hz)
    return InTime(tones_course(track, tones), background_ratio_of_tones(tones))


def shortest_s(stimulus: Stimulus) -> float:
    """The shortest part of a capture of a stimulus that can be measured, s."""
    if isinstance(stimulus, Tone):
        return max(SHORTEST_S, FULL_PERIODS / stimulus.tone_hz)
    if isinstance(stimulus, SquareWave):
        return max(SHORTEST_S, FULL_PERIODS / stimulus.square_hz)
    if isinstance(stimulus, TwoTones):
        return max(SHORTEST_S, shortest_apart_s(pair_spacing(stimulus)))
    if isinstance(stimulus, Multitone):
        return max(SHORTEST_S, shortest_apart_s(tone_spacing(stimulus)))
    return SHORTEST_S
