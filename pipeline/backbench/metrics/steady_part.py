"""The part of a capture in which its tones hold still, and whether its noise does."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from backbench.documents.stimuli import Tone
from backbench.errors import Refusal
from backbench.metrics.declaration import CaptureData
from backbench.metrics.parts_in_time import part_of
from backbench.signal.line_course import LineCourse
from backbench.signal.record_checks import SHORTEST_S
from backbench.signal.steadiness import Stretch, change, steady_stretch
from backbench.signal.tone_course import beside, tone_course
from backbench.signal.tone_search import FULL_PERIODS, seek_tone
from backbench.signal.track import Track

MOST_CUTS = 3
RECORD_AGAIN = "look for a loose contact or a recorder that drops samples, and record again"


class SteadyPart(NamedTuple):
    """A capture, cut to its steady part; remark: why and where, None where nothing was cut."""

    capture_data: CaptureData
    remark: str | None


def steady_part(capture_data: CaptureData, number: int) -> SteadyPart:
    """The longest part in which the tone of output track `number`, and its generator's, hold still.

    All tracks are cut alike, so that phases between them keep their meaning. Captures of other
    stimuli, and tracks in which no tone is found, come back as they are. Raises Refusal where no
    part is steady for long enough to be measured.
    """
    stimulus = capture_data.stimulus
    if not isinstance(stimulus, Tone):
        return SteadyPart(capture_data, None)
    judged = _judged(capture_data, number)
    least_s = max(SHORTEST_S, FULL_PERIODS / stimulus.tone_hz)
    whole, start, why = capture_data, 0.0, None
    for _ in range(MOST_CUTS):
        cut, reason = _steady_s(_tracks(whole, judged), stimulus.tone_hz, capture_data.mains_hz)
        if cut is None:
            break
        why = why or reason
        if cut[1] - cut[0] < least_s:
            raise Refusal(f"the tone isn't steady: {why} within the record; {RECORD_AGAIN}")
        whole, start = part_of(whole, cut[0], cut[1] - cut[0]), start + cut[0]
    else:
        raise Refusal(f"the tone isn't steady: {why} within the record; {RECORD_AGAIN}")
    if why is None:
        return SteadyPart(capture_data, None)
    track = whole.outputs[number]
    end = start + len(track.volts) / track.rate_hz
    return SteadyPart(whole, f"from {start:.2f} s to {end:.2f} s of the record alone: {why}")


def _judged(capture_data: CaptureData, number: int) -> list[int]:
    """Positions of the tracks whose tone must hold still; 0 is the generator's."""
    driven = capture_data.driven_track
    own = [number if driven is None else driven]
    return own + ([0] if capture_data.generator is not None else [])


def _tracks(capture_data: CaptureData, judged: Sequence[int]) -> list[Track]:
    given = {0: capture_data.generator, **capture_data.outputs}
    return [track for n in judged if (track := given.get(n)) is not None]


def _steady_s(
    tracks: Sequence[Track], stated_hz: float, mains_hz: float | None
) -> tuple[tuple[float, float] | None, str | None]:
    """Start and end, s, of what is steady in every track, and what changes; None for the whole."""
    start, end, why = 0.0, np.inf, None
    for track in tracks:
        try:
            lines = seek_tone(track, stated_hz, mains_hz)
            course = tone_course(track, lines)
        except (Refusal, ValueError):
            continue
        found = steady_stretch(course, beside(lines))
        if found.last - found.first < len(course.phasors):
            first, last = _seconds(course, found, len(track.volts) / track.rate_hz)
            start, end, why = max(start, first), min(end, last), change(course)
    return (None, None) if why is None else ((start, end), why)


def _seconds(course: LineCourse, found: Stretch, whole_s: float) -> tuple[float, float]:
    last = whole_s if found.last == len(course.phasors) else found.last * course.block_s
    return found.first * course.block_s, last
