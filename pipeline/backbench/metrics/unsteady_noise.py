"""Whether what stands beside the tone, or with nothing playing, is alike all along the record.

Where it isn't, the record is measured in many short segments, and how they scatter is part of
the uncertainty.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from backbench.documents.stimuli import Idle
from backbench.errors import Refusal
from backbench.metrics.declaration import CaptureData
from backbench.metrics.lines_in_time import shortest_s
from backbench.metrics.multitone import MultitoneView
from backbench.metrics.noise import IdleView
from backbench.metrics.nothing_playing import pitched_remark
from backbench.metrics.parts_in_time import part_of
from backbench.metrics.tone import ToneView
from backbench.metrics.tone_wavering import LEAST_BLOCKS, noise_scatter
from backbench.metrics.warnings import joined
from backbench.quantities.writing import in_text
from backbench.signal.block_scatter import (
    OVERLAPPED,
    Scatter,
    grouped,
    scatter,
)
from backbench.signal.multitone_residual import beating
from backbench.signal.power import MeanSquare, noise_sum
from backbench.signal.tone import BAND_HZ
from backbench.signal.tone_course import tones_course
from backbench.signal.track import Array
from backbench.signal.weighting import a_weighting

EXCESS = 2.5
"""Times the uncertainty that steady noise gives, from which noise isn't steady."""
EXCESS_OF_MANY = 6.0
"""Times what beats of products make, from which what is beside many tones isn't steady; once it,
nothing is told but the uncertainty."""
SLIGHT_EXCESS = 1.5
"""As EXCESS, from which the scatter stands for the uncertainty, without being named."""
LEAST_SCATTER = 0.05
"""Relative uncertainty of a mean square (0.2 dB) below which scatter is let be."""
SEGMENTS = 4
LEAST_IDLE_S = 0.35
SPARE = 17 / 16
"""Times the shortest record that can be measured, which a little off the stated frequency is."""
STEP = 6
"""Segments begin a sixth of their length apart: what the window of one hides another sees."""


class Unsteady(NamedTuple):
    """That noise scatters more than steady noise does.

    why: in words; None where it is too slight to be named. times: how many times the uncertainty of
    steady noise the scatter gives. whole: whether the record is measured whole, as where lines
    that beat with each other may make it, which are alike in the whole record only. span_db:
    loudest over quietest part, where it is named.
    """

    why: str | None
    times: float
    whole: bool = False
    span_db: float = 0.0


class NoiseSegments(NamedTuple):
    """Parts of a capture that overlap, and how many of them would be as good without overlap."""

    parts: list[CaptureData]
    independent: float


def noise_change(view: Any) -> Unsteady | None:
    """How the noise of a view isn't steady; None where it is, or isn't looked at."""
    if isinstance(view, ToneView) and view.driven:
        return _noise_with_tone(view)
    if isinstance(view, MultitoneView):
        return _noise_with_tones(view)
    return _idle(view) if isinstance(view, IdleView) else None


def _judged(spread: Scatter, own: float) -> Unsteady | None:
    """own: relative standard uncertainty of the rms that steady noise gives."""
    if spread.relative <= SLIGHT_EXCESS * 2 * own:
        return None
    times = spread.relative / (2 * own) if own > 0 else math.inf
    if times <= EXCESS:
        return Unsteady(None, times, whole=True)
    text = f"the noise isn't steady: it varies by {in_text(spread.span_db, 'dB', 2)}"
    return Unsteady(text, times, span_db=spread.span_db)


def _noise_with_tone(view: ToneView) -> Unsteady | None:
    spread = noise_scatter(view)
    if spread is None or spread.relative <= LEAST_SCATTER:
        return None
    try:
        own = view.lines.noise_only.relative
    except Refusal:
        return None
    return _judged(spread, own)


def _noise_with_tones(view: MultitoneView) -> Unsteady | None:
    try:
        course = tones_course(view.track, view.tone_set)
        own = view.beside.relative
    except (Refusal, ValueError):
        return None
    squares = grouped(course.left.ravel(), course.block_s / course.left.shape[1])
    if len(squares) < LEAST_BLOCKS:
        return None
    spread = scatter(squares, view.tone_set.spectrum.window.spread)
    unsteady = _judged(spread, own)
    if unsteady is None or unsteady.whole:
        return unsteady
    beats = 2 * beating(view.tone_set)
    if spread.relative > EXCESS_OF_MANY * beats:
        return unsteady
    if spread.relative <= beats:
        return Unsteady(None, unsteady.times, whole=True)
    span = f"what is between the tones varies by {in_text(spread.span_db, 'dB', 2)}"
    return Unsteady(f"{span}, as noise or products that beat may", unsteady.times, whole=True)


def _idle(view: IdleView) -> Unsteady | None:
    if not view.is_dithered:
        # Steps that noise seldom crosses look like bursts; every figure is a bound anyway.
        return None
    power, df = view.blocks
    if len(power) < LEAST_BLOCKS:
        return None
    weights = _weights(power.shape[1], df)
    squares = power @ weights
    spread = view.spectrum.window.spread
    each = [scatter(np.asarray(s, dtype=np.float64), spread, OVERLAPPED) for s in squares.T]
    for scattered, weighted in zip(each, (False, True), strict=True):
        if scattered.relative > LEAST_SCATTER:
            steady = _steady(view, weighted=weighted)
            unsteady = _judged(scattered, steady.relative)
            if unsteady is not None and unsteady.why is None:
                return unsteady
            if unsteady is not None:
                played = pitched_remark(power, df, view.capture_data.mains_hz)
                return unsteady._replace(why=joined(unsteady.why, played) or unsteady.why)
    return None


def _steady(view: IdleView, *, weighted: bool) -> MeanSquare:
    """Mean square of the band, A-weighted or not, V^2, with the variance that steady noise has."""
    chosen, power = view.band
    noise, spread = view.noise[chosen], view.spectrum.window.spread
    if not weighted:
        return noise_sum(power, noise, spread)
    hz = np.arange(chosen.start, chosen.stop) * view.spectrum.resolution_hz
    weights = a_weighting(hz) ** 2
    return noise_sum(power * weights, noise * weights, spread)


@lru_cache(maxsize=4)
def _weights(count: int, df: float) -> Array:
    """Power weights by bin, shape (bins, 2): 20 Hz to 20 kHz, and A-weighted."""
    hz = np.arange(count) * df
    flat = (hz >= BAND_HZ[0]).astype(np.float32)
    own = flat * a_weighting(np.maximum(hz, 1.0)).astype(np.float32) ** 2
    weights = np.stack([flat, own], axis=1)
    weights.setflags(write=False)
    return weights


def in_segments(capture_data: CaptureData, number: int) -> NoiseSegments:
    """A capture in segments of a quarter of its length, which overlap.

    Raises Refusal where it is too short for that.
    """
    track = capture_data.outputs[number]
    whole_s = len(track.volts) / track.rate_hz
    stimulus = capture_data.stimulus
    idle = isinstance(stimulus, Idle)
    least_s = LEAST_IDLE_S if idle else SPARE * shortest_s(stimulus)
    own_s = max(whole_s / SEGMENTS, least_s)
    if own_s > whole_s / 2:
        raise Refusal(
            f"a record of {in_text(whole_s, 's', 2)} is too short to tell its mean; record at "
            f"least {in_text(SEGMENTS * least_s, 's', 2)}"
        )
    starts = np.arange(0.0, whole_s - own_s + 1e-9, own_s / STEP)
    parts = [part_of(capture_data, at, own_s) for at in starts.tolist()]
    return NoiseSegments(parts, 1 + 3 * (whole_s - own_s) / own_s)
