"""Whether what stands beside a tone may be its own wavering, or clicks, rather than noise."""

from __future__ import annotations

import math
from weakref import WeakKeyDictionary

import numpy as np

from backbench.metrics.tone import ToneView
from backbench.quantities.writing import in_text
from backbench.signal.line_course import LineCourse
from backbench.signal.tone import BAND_HZ
from backbench.signal.tone_course import tone_course

PART = 0.1
"""Share of what stands beside a tone from which its wavering is named: common practice, no
source. Of steady noise the course of a tone holds the part in the bandwidth of its blocks, some
hundredth."""
LOUDEST = 0.99
"""Share of the record that is quieter than what counts as clicks."""


def wavering_remark(tone: ToneView, beside: float) -> str | None:
    """That wavering of the tone or clicks may be what was found beside it; None where not.

    beside: mean square of what was found, V^2. A drift so slow that all of it stays in the tone's
    own lobe is named too: neither is known then.
    """
    try:
        course = tone_course(tone.track, tone.lines)
    except ValueError:
        return None
    share, loudest = _wavering_and_clicks(course)
    if share * tone.square.value > PART * beside:
        percent = in_text(100 * math.sqrt(share), "%", 2)
        return (
            f"the tone's level or phase varies by {percent} rms within the record, which makes "
            "noise beside it of its own"
        )
    clicks = loudest * min(2 * BAND_HZ[1] / tone.track.rate_hz, 1.0)
    if clicks <= PART * beside:
        return None
    return f"clicks make up {in_text(100 * min(clicks / beside, 1.0), '%', 1)} of it"


_kept: WeakKeyDictionary[LineCourse, tuple[float, float]] = WeakKeyDictionary()


def _wavering_and_clicks(course: LineCourse) -> tuple[float, float]:
    """Both for a course, reckoned once."""
    if course not in _kept:
        _kept[course] = _wavering(course), _clicks(course)
    return _kept[course]


def _clicks(course: LineCourse) -> float:
    """Mean square of what the loudest hundredth of the thousandths of a second has beyond the rest,
    V^2."""
    usual = course.left_within(LOUDEST)
    return float(np.maximum(course.left - usual, 0.0).sum()) / course.left.size


def _wavering(course: LineCourse) -> float:
    """Mean square by which the fundamental is off one level and even turning, re its own."""
    phasors = course.phasors[:, 0]
    phase = np.unwrap(np.angle(phasors))
    at = np.arange(len(phase)) - (len(phase) - 1) / 2
    even = phase.mean() + at * (at @ phase) / max(float(at @ at), 1.0)
    still = phasors * np.exp(-1j * even) / np.abs(phasors).mean()
    return float(np.mean(np.abs(still - 1) ** 2))
