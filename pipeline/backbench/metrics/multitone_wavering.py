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
from backbench.signal.tone_course import tones_course
from backbench.signal.track import Array


def wavering_of_tones(view: MultitoneView) -> str | None:
    """That wavering of the tones may be what was found beside them; None where it can't be."""
    try:
        course = tones_course(view.track, view.tone_set)
        least, product = view.beside.value, view.product.square
    except (Refusal, ValueError):
        return None
    if product.stands_out:
        least = min(least, product.value)
    outside = _outside(view, course)
    powers = np.array([tone.value for tone in view.tone_set.tones])
    if float(outside @ powers) <= PART * least:
        return None
    percent = in_text(100 * math.sqrt(float(outside.max())), "%", 2)
    return (
        f"level or phase of the tones varies by {percent} rms or more within the record, which "
        "makes lines beside them of their own"
    )


def _outside(view: MultitoneView, course: LineCourse) -> Array:
    """Share of each tone's power that its wavering puts outside its lobe."""
    tones, spectrum = view.tone_set, view.tone_set.spectrum
    weights = spectrum.window.samples
    density = tones.noise[np.rint(tones.positions).astype(int)] / spectrum.resolution_hz
    single = [
        replace(course, phasors=course.phasors[:, n : n + 1], turns=course.turns[n : n + 1])
        for n in range(len(tones.positions))
    ]
    return np.array(
        [
            wavering_outside(one, weights, tones.half, float(own))
            for one, own in zip(single, density, strict=True)
        ]
    )
