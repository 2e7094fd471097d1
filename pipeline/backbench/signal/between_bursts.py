"""Lines between bursts, hum and buzz, of which some may lie upon the harmonics within them.

A burst is too short to tell them apart; their phase may be alike in all bursts, so that the mean
over bursts doesn't take them off.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from backbench.signal.power import squared
from backbench.signal.track import Array

NEAR = (0.03, 0.35)
"""How far beside a harmonic lines are looked for, re the fundamental: not the tone itself, which
may go on between bursts."""
CLEAR_BINS = 8
"""As far as the lobe of a tone reaches under a Hann window, and its greatest side lobes."""
LEAST_PERIODS = 40
SCALLOPED = 1.387
"""Power of a line half-way between two bins under a Hann window re what the higher shows (1.42 dB
in the line's level: closed form)."""


def lines_between(volts: Array, bursts: Sequence[slice], turns: float, orders: int) -> Array:
    """Mean squares of the strongest lines near a fundamental and its harmonics between bursts.

    Parameters
    ----------
    volts : ndarray of float64, shape (n,)
        The record, V.
    bursts : sequence of slice
        Samples within each burst, rising.
    turns : float
        Periods of the fundamental in a sample, > 0.
    orders : int
        Of the highest harmonic.

    Returns
    -------
    ndarray of float64, shape (orders,)
        V^2, the greatest over all gaps; noughts where gaps are too short to tell.
    """
    found = np.zeros(orders)
    for one, following in pairwise(bursts):
        # As much again as was left out of the burst: it rings, and the next one may begin early.
        spare = (one.stop - one.start) // 2
        gap = volts[one.stop + spare : following.start - spare]
        if len(gap) * turns >= LEAST_PERIODS:
            found = np.maximum(found, _strongest(gap, turns, orders))
    return found


def _strongest(gap: Array, turns: float, orders: int) -> Array:
    from scipy.fft import prev_fast_len, rfft

    length = prev_fast_len(len(gap), real=True)
    bins = rfft(gap[:length])
    # A Hann window is three neighbouring bins together, of which a line keeps half.
    shaped = bins[1:-1] / 2 - (bins[:-2] + bins[2:]) / 4
    power = np.concatenate([[0.0], 8 * squared(shaped) / length**2])
    first = turns * length
    near = max(NEAR[0] * first, CLEAR_BINS)
    strongest = []
    for order in range(1, orders + 1):
        below = power[int(order * first - NEAR[1] * first) : int(order * first - near)]
        above = power[int(order * first + near) + 1 : int(order * first + NEAR[1] * first) + 1]
        strongest.append(max(below.max(initial=0.0), above.max(initial=0.0)))
    return SCALLOPED * np.array(strongest)
