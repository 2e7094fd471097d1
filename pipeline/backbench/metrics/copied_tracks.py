"""Tracks that hold one and the same signal, although each is stated to be an output of its own."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from backbench.errors import Refusal
from backbench.metrics.declaration import CaptureData
from backbench.signal.track import Track

FIRST_SAMPLES = 64, 4096
"""Of tracks that differ, a few tell it."""
ROUNDING = 1e-7
"""Of full scale: less than a step of 24 bits. Two converters never agree so far; common practice,
no source."""


def refuse_copies(capture_data: CaptureData) -> None:
    """Raises Refusal where two outputs' tracks are bit-identical or in exact opposition.

    A copied track says nothing of the output that it is stated to carry, and which of the two is
    the copy can't be known.
    """
    for (one, a), (other, b) in combinations(capture_data.outputs.items(), 2):
        for sign, what in ((1.0, "bit-identical"), (-1.0, "in exact opposition")):
            if _alike(a, b, sign):
                raise Refusal(
                    f"tracks {one} and {other} are {what}: one signal was recorded twice, so that "
                    "one of the outputs was not measured; check the recorder's routing (mono, "
                    "copied or inverted channel) and [tracks]"
                )


def _alike(a: Track, b: Track, sign: float) -> bool:
    """Whether two tracks hold the same samples, full scale for full scale."""
    if len(a.volts) != len(b.volts) or a.rate_hz != b.rate_hz:
        return False
    factor, within = sign * a.full_scale_v / b.full_scale_v, ROUNDING * a.full_scale_v
    for stop in (*FIRST_SAMPLES, len(a.volts)):
        if np.max(np.abs(a.volts[:stop] - factor * b.volts[:stop]), initial=0.0) > within:
            return False
    # A channel that holds nothing is refused as silence, with a better reason.
    return bool(np.ptp(a.volts) > within)
