"""Whether what stands beside many tones may be their own wavering."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from backbench.errors import Refusal
from backbench.metrics.multitone import MultitoneView
from backbench.metrics.tone_wavering import PART
from backbench.quantities.writing import in_text
from backbench.signal.line_course import LineCourse
from backbench.signal.line_wavering import wavering_outside
from backbench.signal.quantiles import middle
from backbench.signal.tone_course import tones_course
from backbench.signal.tone_set import ToneSet
from backbench.signal.track import Array
from backbench.signal.window import Complex

STANDS_OUT = 6.0
"""Standard deviations of the noise beside the tones."""
NEAR = 0.75
"""Of the rate of blocks: half of it is what they follow, and a line takes some width."""


def wavering_of_tones(view: MultitoneView) -> str | None:
    """That wavering of the tones may be what was found beside them; None where it can't be."""
    try:
        course = tones_course(view.track, view.tone_set)
        least, product = view.beside.value, view.product.square
    except (Refusal, ValueError):
        return None
    if product.stands_out:
        least = min(least, product.value)
    if _seen_near(view.tone_set, course.block_s) <= PART * least:
        return None
    outside = _outside(view, course)
    powers = np.array([tone.value for tone in view.tone_set.tones])
    if float(outside @ powers) <= PART * least:
        return None
    percent = in_text(100 * math.sqrt(float(outside.max())), "%", 2)
    return (
        f"level or phase of the tones varies by {percent} rms or more within the record, which "
        "makes lines beside them of their own"
    )


def _seen_near(tones: ToneSet, block_s: float) -> float:
    """Mean square of what stands beside the lobes of the tones, as near as blocks follow, V^2; 0
    where noise makes as much.

    Products farther off show in short blocks as if the tones wavered.
    """
    reach = NEAR / block_s / tones.spectrum.resolution_hz
    first = np.maximum(np.ceil(tones.positions - reach), 0).astype(int)
    stop = np.minimum(np.floor(tones.positions + reach) + 1, len(tones.noise)).astype(int)
    # What lies near two tones counts once.
    first[1:] = np.maximum(first[1:], np.maximum.accumulate(stop)[:-1])
    near = np.concatenate([np.arange(*ends) for ends in zip(first, stop, strict=True)])
    near = near[tones.beside[near]]
    noise = tones.noise[near]
    seen = float((tones.spectrum.power[near] - noise).sum())
    return (
        seen if seen > STANDS_OUT * math.sqrt(tones.spectrum.window.spread * noise @ noise) else 0.0
    )


def _outside(view: MultitoneView, course: LineCourse) -> Array:
    """Share of each tone's power that the wavering common to all puts outside its lobe."""
    tones, spectrum = view.tone_set, view.tone_set.spectrum
    wavering = _common(course)
    density = tones.noise[np.rint(tones.positions).astype(int)] / spectrum.resolution_hz
    shares = []
    for n, own in enumerate(density.tolist()):
        one = replace(
            course, phasors=wavering[:, n : n + 1], turns=course.turns[n : n + 1], beside=None
        )
        shares.append(wavering_outside(one, spectrum.window, tones.half, own))
    return np.array(shares)


def _common(course: LineCourse) -> Complex:
    """The tones as they were if all wavered alike: in level, and in time.

    The median over the tones: a product near one of them makes it waver alone.
    """
    level = course.level.mean(axis=0)
    envelope = middle(course.level.T / level[:, None])
    phase = course.phase
    at = np.arange(len(phase)) - (len(phase) - 1) / 2
    slope = at @ phase / float(at @ at)
    late = middle(((phase - phase.mean(axis=0) - np.outer(at, slope)) / course.turns).T)
    return np.asarray(level * envelope[:, None] * np.exp(1j * np.outer(late, course.turns)))
