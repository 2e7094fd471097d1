"""Drop-outs of a tape: falls of the level of a steady tone."""

from __future__ import annotations

import math

import numpy as np

from backbench.errors import NotApplicable
from backbench.metrics.declaration import MeasuredValue, metric
from backbench.metrics.traits import OF_A_SPEED_TONE, Traits
from backbench.metrics.transport_speed import TransportView
from backbench.quantities.writing import in_text
from backbench.signal.flutter import REACH_HZ
from backbench.signal.played_tone import HALF_WIDTH_HZ, LOW_SHARE
from backbench.signal.track import Array

FAMILY = "Tape"

LEAST_S = 0.005
LIMIT_DB = -20 * math.log10(LOW_SHARE)
LEAST_HZ = 1500.0
RINGING_DB = 0.6
RESOLUTION_S = 1 / (2 * HALF_WIDTH_HZ)
_SOURCE = "common practice, no source"
_CHOICE = (
    f"falls of {in_text(LIMIT_DB, 'dB', 2)} or more below the median level for "
    f"{in_text(LEAST_S, 's')} or longer"
)


def _dropouts(seen: TransportView) -> list[Array]:
    """The level of each drop-out re the median, a ratio."""
    from scipy.ndimage import uniform_filter1d

    tone = seen.tone
    if tone.carrier_hz < LEAST_HZ:
        raise NotApplicable(
            f"a tone below {in_text(LEAST_HZ, 'Hz')} doesn't show drop-outs of a few ms"
        )
    # Over a period of the band's edge, at which its filter rings beside a step.
    even = uniform_filter1d(tone.level, round(tone.rate_hz / REACH_HZ))
    ends = np.flatnonzero(np.diff(np.concatenate([[0], tone.low.astype(int), [0]])))
    pairs = zip(ends[::2], ends[1::2], strict=True)
    return [
        even[start:stop] / tone.median_level
        for start, stop in pairs
        if (stop - start) / tone.rate_hz >= LEAST_S
    ]


def _some(seen: TransportView) -> list[Array]:
    found = _dropouts(seen)
    if not found:
        raise NotApplicable("no drop-out within the record")
    return found


@metric(
    "dropouts",
    title="Drop-outs",
    unit="/min",
    better="lower",
    source=_SOURCE,
    stimuli=["transport"],
    version=1,
    choice=_CHOICE + "; uncertain as a count is (its root)",
    traits=Traits(compared_at=OF_A_SPEED_TONE, position=211, only_with="transport"),
)
def dropouts(seen: TransportView) -> MeasuredValue:
    """How often the level of a steady tone drops out, in a minute."""
    minutes = seen.tone.seconds / 60
    count = len(_dropouts(seen))
    u = math.sqrt(max(count, 1)) / minutes
    return MeasuredValue(count / minutes, u, u)


@metric(
    "dropout_depth",
    title="Depth of the deepest drop-out",
    unit="dB",
    better="lower",
    source=_SOURCE,
    stimuli=["transport"],
    version=1,
    choice=_CHOICE
    + "; uncertain by the ringing of a step in the band kept beside the tone; noise fills a deep "
    "one, and one of a few ms is smoothed",
)
def dropout_depth(seen: TransportView) -> MeasuredValue:
    """How far the level falls below its median in the deepest drop-out."""
    least = min(float(fall.min()) for fall in _some(seen))
    return MeasuredValue(-20 * math.log10(max(least, 1e-6)), RINGING_DB, RINGING_DB)


@metric(
    "dropout_length",
    title="Length of the longest drop-out",
    unit="s",
    better="lower",
    source=_SOURCE,
    stimuli=["transport"],
    version=1,
    choice=_CHOICE,
)
def dropout_length(seen: TransportView) -> MeasuredValue:
    """How long the level stays low in the longest drop-out."""
    longest = max(len(fall) for fall in _some(seen)) / seen.tone.rate_hz
    return MeasuredValue(longest, RESOLUTION_S, RESOLUTION_S)
