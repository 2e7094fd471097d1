"""The bench's own response at the level of a capture, from loop-backs under the same sweep."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from backbench.metrics.bench_levels import SAME_LEVEL
from backbench.signal.sweep import Transfer


class BenchShape(NamedTuple):
    """A loop-back's transfer re its magnitude at 1 kHz, noise relative, and its level there, V."""

    level_v: float
    transfer: Transfer


def shape_at(level_v: float, known: Sequence[BenchShape]) -> Transfer:
    """The bench's own at a level, V, from loop-backs (at least one) on the same frequencies.

    Within 1 dB of a loop-back's level it is that one's; between two it is straight in the
    logarithm of the level, beyond all that of the nearest. What lies between two neighbours is
    known to their difference, which is then part of the noise, as are loop-backs that differ at one
    level.
    """
    ordered = sorted(known, key=lambda one: abs(math.log(one.level_v / level_v)))
    nearest = ordered[0]
    if len(ordered) == 1:
        return nearest.transfer
    same = [one for one in ordered if 1 / SAME_LEVEL <= one.level_v / level_v <= SAME_LEVEL]
    if same:
        return _widened(nearest.transfer, [one.transfer for one in same])
    below = [one for one in ordered if one.level_v < level_v]
    above = [one for one in ordered if one.level_v > level_v]
    if not below or not above:
        return _widened(nearest.transfer, [one.transfer for one in ordered[:2]])
    low, high = below[0], above[0]
    fraction = math.log(level_v / low.level_v) / math.log(high.level_v / low.level_v)
    ratio = (1 - fraction) * low.transfer.ratio + fraction * high.transfer.ratio
    noise = np.maximum(low.transfer.noise, high.transfer.noise)
    between = Transfer(low.transfer.frequency_hz, ratio, noise, low.transfer.arrival_s)
    return _widened(between, [low.transfer, high.transfer])


def _widened(transfer: Transfer, known: Sequence[Transfer]) -> Transfer:
    """How far the magnitudes of several lie apart, as a rectangle in the relative noise."""
    magnitudes = np.abs([one.ratio for one in known])
    apart = np.ptp(magnitudes, axis=0) / np.abs(transfer.ratio) / math.sqrt(12)
    noise = np.hypot(transfer.noise, apart)
    return replace(transfer, noise=noise)
