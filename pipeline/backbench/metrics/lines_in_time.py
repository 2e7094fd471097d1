"""The lines of a capture from block to block in time, by the kind of its stimulus."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import NamedTuple

from backbench.documents.stimuli import Multitone, SquareWave, Stimulus, Tone, TwoTones
from backbench.errors import Refusal
from backbench.metrics.multitone import tone_spacing
from backbench.metrics.two_tones_view import pair_spacing
from backbench.signal.intermodulation import seek_tones, seek_tones_of_each, shortest_apart_s
from backbench.signal.line_course import LineCourse
from backbench.signal.record_checks import SHORTEST_S, check_record
from backbench.signal.tone import PASS_BAND, ToneLines
from backbench.signal.tone_course import (
    background_ratio,
    background_ratio_of_tones,
    courses_of_each,
    strong_products,
    tone_course,
    tones_course,
)
from backbench.signal.tone_search import FULL_PERIODS, seek_tone, seek_tone_of_each
from backbench.signal.tone_set import ToneSet
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
    if isinstance(stimulus, SquareWave):
        course, noise = period_course(track, stimulus.square_hz, mains_hz)
        highest = max(PASS_BAND * track.rate_hz / stimulus.square_hz, 1.0)
        return InTime(course, noise, EDGE_RAD / highest)
    found = _sought(track, stimulus, mains_hz)
    if isinstance(found, ToneLines):
        return InTime(tone_course(track, found), background_ratio(found))
    if isinstance(found, ToneSet):
        return InTime(tones_course(track, found), background_ratio_of_tones(found))
    return None


def make_ready(tracks: Sequence[Track], stimulus: Stimulus, mains_hz: float | None) -> None:
    """Have ready what lines_in_time asks for of several tracks.

    Each step of all of them: what has just been done for one is done for the next in less time.
    What can't be had is told where it is asked for.
    """
    found: dict[Track, ToneLines | ToneSet | None] = {}

    def seek(track: Track) -> None:
        found[track] = _sought(track, stimulus, mains_hz)

    _each(tracks, check_record)
    if isinstance(stimulus, Tone | SquareWave):
        stated = stimulus.tone_hz if isinstance(stimulus, Tone) else stimulus.square_hz
        seek_tone_of_each(tracks, stated, mains_hz)
    if isinstance(stimulus, TwoTones | Multitone):
        with contextlib.suppress(Refusal):
            seek_tones_of_each(tracks, *_stated(stimulus), mains_hz)
    _each(tracks, seek)
    if isinstance(stimulus, SquareWave):
        return
    _each(found, lambda track: _strong_lines(found[track]))
    _courses(found)
    tones = {track: lines for track, lines in found.items() if isinstance(lines, ToneLines)}
    _each(tones, lambda track: background_ratio(tones[track]))


def _each(tracks: Iterable[Track], step: Callable[[Track], object]) -> None:
    for track in tracks:
        with contextlib.suppress(Refusal, ValueError):
            step(track)


def _strong_lines(lines: ToneLines | ToneSet | None) -> object:
    """What is fitted beside the tones; kept with the lines."""
    if isinstance(lines, ToneLines):
        return lines.every_harmonic
    return None if lines is None else strong_products(lines)


def _courses(found: Mapping[Track, ToneLines | ToneSet | None]) -> None:
    """The courses of the tones in several tracks, those of one rate together."""
    by_rate: dict[float, dict[Track, ToneLines | ToneSet]] = {}
    for track, lines in found.items():
        if lines is not None:
            by_rate.setdefault(track.rate_hz, {})[track] = lines
    for some in by_rate.values():
        with contextlib.suppress(Refusal, ValueError):
            courses_of_each(some)


def _sought(track: Track, stimulus: Stimulus, mains_hz: float | None) -> ToneLines | ToneSet | None:
    """The lines of a stimulus in a track, kept as long as the track; None for one without."""
    if isinstance(stimulus, Tone):
        return seek_tone(track, stimulus.tone_hz, mains_hz)
    if isinstance(stimulus, SquareWave):
        return seek_tone(track, stimulus.square_hz, mains_hz)
    if isinstance(stimulus, TwoTones | Multitone):
        return seek_tones(track, *_stated(stimulus), mains_hz)
    return None


def _stated(stimulus: TwoTones | Multitone) -> tuple[Sequence[float], float]:
    """Tones as stated, rising, and the distance of the nearest two lines, Hz."""
    if isinstance(stimulus, TwoTones):
        return stimulus.tones_hz, pair_spacing(stimulus)
    return sorted(stimulus.multitone_hz), tone_spacing(stimulus)


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
