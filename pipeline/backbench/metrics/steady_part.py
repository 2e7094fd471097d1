"""The part of a capture in which its tones hold still, and whether its noise does."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from backbench.documents.stimuli import Multitone, SquareWave, Stimulus, Tone, TwoTones
from backbench.errors import Refusal
from backbench.metrics.bench_levels import loop_backs, loop_backs_of_output
from backbench.metrics.declaration import CaptureData
from backbench.metrics.lines_in_time import lines_in_time, make_ready, shortest_s
from backbench.metrics.parts_in_time import part_of
from backbench.metrics.warnings import SEPARATOR
from backbench.quantities.writing import in_text
from backbench.signal.line_course import LineCourse
from backbench.signal.steadiness import SteadySegment, change, steady_segment
from backbench.signal.track import Track

MOST_CUTS = 3
RECORD_AGAIN = "look for a loose contact or a recorder that drops samples, and record again"
STEADY = (Tone, TwoTones, Multitone, SquareWave)
"""Stimuli whose lines hold still all along."""


class SteadyPart(NamedTuple):
    """A capture, cut to its steady part; remark: why and where, None where nothing was cut."""

    capture_data: CaptureData
    remark: str | None


def steady_part(capture_data: CaptureData, number: int) -> SteadyPart:
    """The longest part in which the lines of output `number`, and its generator's, hold still.

    All tracks are cut alike, so that phases between them keep their meaning. Captures of stimuli
    without steady lines, and tracks in which none is found, come back as they are. Raises Refusal
    where no part is steady for long enough to be measured.
    """
    stimulus = capture_data.stimulus
    if not isinstance(stimulus, STEADY):
        return SteadyPart(capture_data, None)
    judged = _judged(capture_data, number)
    whole, start, why = capture_data, 0.0, None
    for _ in range(MOST_CUTS):
        cut, reason = _steady_s(_tracks(whole, judged), stimulus, capture_data.mains_hz)
        if cut is None:
            break
        why = why or reason
        if cut[1] - cut[0] < shortest_s(stimulus):
            raise Refusal(f"{_unsteady(stimulus)}: {why} within the record; {RECORD_AGAIN}")
        whole, start = part_of(whole, cut[0], cut[1] - cut[0]), start + cut[0]
    else:
        raise Refusal(f"{_unsteady(stimulus)}: {why} within the record; {RECORD_AGAIN}")
    if why is None:
        return SteadyPart(capture_data, None)
    track = whole.outputs[number]
    end = start + len(track.volts) / track.rate_hz
    span = f"from {in_text(start, 's')} to {in_text(end, 's')}"
    return SteadyPart(whole, f"{span} of the record alone: {why}")


def make_lines_ready(capture_data: CaptureData, numbers: Sequence[int]) -> None:
    """Have ready what steady_part asks for of outputs: see lines_in_time.make_ready."""
    stimulus = capture_data.stimulus
    if isinstance(stimulus, STEADY):
        judged = dict.fromkeys(n for number in numbers for n in _judged(capture_data, number))
        make_ready(_tracks(capture_data, list(judged)), stimulus, capture_data.mains_hz)


def with_steady_loop_backs(capture_data: CaptureData, number: int) -> CaptureData:
    """A capture with its loop-backs cut to their steady parts, without those that have none.

    What a gap or a jump adds to a loop-back isn't the bench's.
    """
    kept, given = [], loop_backs(capture_data)
    for one in given:
        with contextlib.suppress(Refusal):
            # One that lacks the output is of use where a single track stands for all.
            kept.append(steady_part(one, number).capture_data if number in one.outputs else one)
    bench = next(iter(kept), None)
    return (
        replace(capture_data, bench=bench, bench_levels=tuple(kept[1:])) if given else capture_data
    )


def unused_loop_back(
    capture_data: CaptureData, number: int, build: Callable[[CaptureData, int], Any], used: int
) -> str | None:
    """Why a loop-back of the capture isn't used, as a remark; None where all are.

    build: makes the view of a capture. used: how many loop-backs the capture's view has.
    """
    given = loop_backs_of_output(capture_data, number)
    if used >= len(given):
        return None
    for one in given:
        try:
            build(steady_part(one, number).capture_data, number)
        except Refusal as refusal:
            why = str(refusal).replace(SEPARATOR, ", ")
            return f"what the bench adds may be in it, as a loop-back can't be used: {why}"
    return None


def _unsteady(stimulus: Stimulus) -> str:
    if isinstance(stimulus, TwoTones | Multitone):
        return "the tones aren't steady"
    what = "square wave" if isinstance(stimulus, SquareWave) else "tone"
    return f"the {what} isn't steady"


def _judged(capture_data: CaptureData, number: int) -> list[int]:
    """Positions of the tracks whose tone must hold still; 0 is the generator's."""
    driven = capture_data.driven_track
    own = [number if driven is None else driven]
    return own + ([0] if capture_data.generator is not None else [])


def _tracks(capture_data: CaptureData, judged: Sequence[int]) -> list[Track]:
    given = {0: capture_data.generator, **capture_data.outputs}
    return [track for n in judged if (track := given.get(n)) is not None]


def _steady_s(
    tracks: Sequence[Track], stimulus: Stimulus, mains_hz: float | None
) -> tuple[tuple[float, float] | None, str | None]:
    """Start and end, s, of what is steady in every track, and what changes; None for the whole."""
    start, end, why = 0.0, np.inf, None
    for track in tracks:
        try:
            seen = lines_in_time(track, stimulus, mains_hz)
        except (Refusal, ValueError):
            continue
        if seen is None:
            continue
        course = seen.course
        segment = steady_segment(course, seen.background_ratio, seen.wander)
        if segment.last - segment.first < len(course.phasors):
            first, last = _seconds(course, segment, len(track.volts) / track.rate_hz)
            start, end, why = max(start, first), min(end, last), change(course)
    return (None, None) if why is None else ((start, end), why)


def _seconds(course: LineCourse, segment: SteadySegment, whole_s: float) -> tuple[float, float]:
    last = whole_s if segment.last == len(course.phasors) else segment.last * course.block_s
    return segment.first * course.block_s, last
