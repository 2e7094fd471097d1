"""Whether what stands beside a tone may be its own wavering, or clicks, rather than noise."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np

from backbench.errors import Refusal
from backbench.metrics.tone import ToneView
from backbench.quantities.writing import in_text
from backbench.signal.block_scatter import PERIOD_S, Scatter, grouped, scatter
from backbench.signal.harmonics import Harmonics
from backbench.signal.kept_property import kept_with_it
from backbench.signal.line_course import LineCourse
from backbench.signal.line_wavering import lost_by_wavering, noise_density, wavering_outside
from backbench.signal.quantiles import middle
from backbench.signal.tone import BAND_HZ
from backbench.signal.tone_course import tone_course
from backbench.signal.track import Array
from backbench.signal.window import Window

PART = 0.1
"""Share of what stands beside a tone from which its wavering is named: common practice, no
source. Of steady noise the course of a tone holds the part in the bandwidth of its blocks, some
hundredth."""
LOUDEST = 0.99
"""Share of the record that is quieter than what counts as clicks."""
LOUD_PARTS = 2.5
"""Parts that a click may lie in, where a low tone's record has few and long ones."""
STANDING_SIDE = 12.0
"""Times the noise beside a tone from which lines stand there: common practice, no source."""
LEAST_BLOCKS = 4
SURELY_JUMPS = 6.0
"""Times the usual change of the steady part from block to block, beyond which it jumped."""
NO_LINES = 0.8
"""Share of what stands beside a tone that even noise between lines makes, where they are weak."""
UNSTEADY = 3.0
"""Times the uncertainty that steady noise gives, from which noise beside a tone isn't steady."""


def wavering_remark(tone: ToneView, beside: float) -> str | None:
    """That wavering of the tone or clicks may be what was found beside it; None where not.

    beside: mean square of what was found, V^2. A drift so slow that all of it stays in the tone's
    own lobe is named too: neither is known then.
    """
    course = _course(tone)
    if course is None:
        return None
    if course.wavering * tone.square.value > PART * beside:
        percent = in_text(100 * math.sqrt(course.wavering), "%", 2)
        return (
            f"the tone's level or phase varies by {percent} rms within the record, which makes "
            "noise beside it of its own"
        )
    if _of_jump(tone) > PART * beside:
        return (
            f"the steady part jumps by {in_text(_jump(course)[0], 'V', 2)} within the record, "
            "which makes noise of its own"
        )
    clicks = _outside_and_clicks(tone)[1]
    if clicks > PART * beside:
        return f"clicks make up {in_text(100 * min(clicks / beside, 1.0), '%', 1)} of it"
    return _sidebands_remark(tone, course, beside)


def _jump(course: LineCourse) -> tuple[float, int]:
    """How far the steady part jumps from one block to the next but one, beyond its usual way, V,
    and the block between the two."""
    if len(course.offset) < LEAST_BLOCKS:
        return 0.0, 0
    moved = np.abs(course.offset[2:] - course.offset[:-2])
    at = int(np.argmax(moved))
    return max(float(moved[at]) - SURELY_JUMPS * float(middle(moved)), 0.0), at + 1


@kept_with_it
def _of_jump(tone: ToneView) -> float:
    """Mean square, V^2, that a jump of the steady part leaves above 20 Hz, through the window.

    Closed form: a step V has the energy V^2 / (2 pi^2 f) above f.
    """
    course = _course(tone)
    volts, block = _jump(course) if course else (0.0, 0)
    if course is None or volts == 0:
        return 0.0
    window, seconds = tone.lines.spectrum.window, len(tone.track.volts) / tone.track.rate_hz
    about = window.samples[(block - 1) * course.length : (block + 2) * course.length]
    weight = float(about.max(initial=0.0)) ** 2 / (window.energy / len(window.samples))
    return weight * volts**2 / (2 * math.pi**2 * BAND_HZ[0] * seconds)


def _sidebands_remark(tone: ToneView, course: LineCourse, beside: float) -> str | None:
    """That a low tone wavers faster than its blocks follow, where both its sides show it."""
    lines = tone.lines
    reach = min(2 * lines.half, lines.position - lines.half)
    nearest_hz = lines.half * lines.spectrum.resolution_hz
    if 2 * nearest_hz * course.block_s < 1 or reach <= lines.half:
        return None
    edges = np.array([lines.half, reach])
    sides = [np.ceil(lines.position + edges), np.ceil(lines.position - edges[::-1])]
    bins = [slice(int(first), int(last)) for first, last in sides]
    seen = [float(lines.spectrum.power[side].sum()) for side in bins]
    noise = [float(lines.noise[side].sum()) for side in bins]
    standing = all(a > STANDING_SIDE * b for a, b in zip(seen, noise, strict=True))
    if not standing or min(seen) <= PART * beside:
        return None
    return (
        f"lines stand on both sides of the tone, from {in_text(nearest_hz, 'Hz', 2)} on: its speed "
        "or level may waver, which makes noise beside it of its own"
    )


@kept_with_it
def of_the_record(tone: ToneView) -> float:
    """Mean square, V^2, that the tone's own wavering and single clicks may have added beside it.

    0 where there is no more of it than noise makes, and for a record too short to tell.
    """
    return sum(_outside_and_clicks(tone)) + _of_jump(tone)


def as_steady(tone: ToneView, last: int) -> Harmonics:
    """Harmonics 2 to last, what the tone's wavering takes from the middle of their lobes in their
    noise."""
    return _as_steady(tone).up_to(last)


@kept_with_it
def _as_steady(tone: ToneView) -> Harmonics:
    course, lines = _course(tone), tone.lines
    harmonics = lines.every_harmonic
    if course is None:
        return harmonics
    lost = lost_by_wavering(
        course, lines.spectrum.window, harmonics.orders, lines.position,
        noise_density(lines),
    )  # fmt: skip
    # The noise x whose variance x^2 + 2 x P is (lost P)^2.
    strong = np.maximum(harmonics.square, 0.0)
    more = strong * (np.sqrt(1 + lost**2) - 1)
    moved = lost * strong if lost.any() else None
    return replace(harmonics, noise=harmonics.noise + more, lost=moved)


def noise_scatter(tone: ToneView) -> Scatter | None:
    """How what stands beside a tone scatters in time; None for a record too short to tell."""
    course = _course(tone)
    if course is None or len(course.left) < LEAST_BLOCKS:
        return None
    squares = grouped(course.left_by_block, course.block_s)
    if len(squares) < LEAST_BLOCKS and course.block_s <= PERIOD_S and _is_noise(tone, course):
        squares = grouped(course.left_by_block, course.block_s, PERIOD_S)
    if len(squares) < LEAST_BLOCKS:
        return None
    return scatter(squares, tone.lines.spectrum.window.spread)


def _is_noise(tone: ToneView, course: LineCourse) -> bool:
    """Whether lines, which vary in blocks so short, have hardly a part in what blocks leave."""
    try:
        noise = tone.lines.noise_only.value
    except Refusal:
        return False
    wide = noise * max(tone.track.rate_hz / (2 * BAND_HZ[1]), 1.0)
    mean = float(course.left_by_block.mean())
    return tone.lines.between_lines >= NO_LINES * noise and NO_LINES * mean <= wide


def unsteady_beside(tone: ToneView) -> bool:
    """Whether what stands beside a tone comes and goes, or may be of the tone's own wavering."""
    noise = tone.lines.noise_only
    spread = noise_scatter(tone)
    scattered = spread is not None and spread.relative > UNSTEADY * 2 * noise.relative
    return scattered or of_the_record(tone) > PART * noise.value


@kept_with_it
def _course(tone: ToneView) -> LineCourse | None:
    try:
        return tone_course(tone.track, tone.lines)
    except ValueError:
        return None


def _clicks(tone: ToneView, course: LineCourse) -> float:
    """Mean square of what the loudest hundredth of the thousandths of a second has beyond the rest,
    V^2, as the window weights it, within 20 Hz to 20 kHz."""
    usual = course.left_within(min(LOUDEST, 1 - LOUD_PARTS / course.left.size))
    loud = np.maximum(course.left - usual, 0.0).ravel()
    window = tone.lines.spectrum.window
    weight = _weight_at_parts(window, len(loud), len(course.left) * course.length)
    within = min(2 * BAND_HZ[1] / tone.track.rate_hz, 1.0)
    return float(loud @ weight) / len(loud) / (window.energy / window.length) * within


@lru_cache(maxsize=4)
def _weight_at_parts(window: Window, count: int, samples: int) -> Array:
    """Square of the window in the middle of each of so many parts of so many samples together."""
    middles = (np.arange(count) + 0.5) / count * samples
    weight: Array = window.samples[np.minimum(middles.astype(int), window.length - 1)] ** 2
    return weight


@kept_with_it
def _outside_and_clicks(tone: ToneView) -> tuple[float, float]:
    """Mean squares, V^2, of wavering beyond the tone's lobe and of clicks."""
    course, lines = _course(tone), tone.lines
    if course is None:
        return 0.0, 0.0
    outside = wavering_outside(course, lines.spectrum.window, lines.half, noise_density(lines))
    return outside * tone.square.value, _clicks(tone, course)
