"""The step that values are rounded to, read from the values themselves."""

from __future__ import annotations

import math

import numpy as np

from backbench.signal.track import Array

MOST_LEVELS = 65_537
EXACT = 1e-3
"""How far a distance of two values may be from a whole number of steps, steps."""
ROUNDING = 1e-9
"""Values that differ by less than this share of all they span are alike."""
TWO_LEVELS = 0.2 * 2**8
"""Steps that two values alone are taken to lie apart: a converter of 8 bits, the least that is in
use (common practice, no source), a fifth of whose range is filled."""


def quantisation_step(values: Array) -> float:
    """Distance of neighbouring values of a converter or of a printed table; 0 where there is none.

    Parameters
    ----------
    values : ndarray of float64, shape (n,)
        Finite, in any unit; n >= 1.

    Returns
    -------
    float
        In the unit of the values, >= 0.

    Notes
    -----
    It is the least distance of two values where every other distance is a whole number of it. Where
    there are two values only, which tell no step, that of a coarse instrument (TWO_LEVELS: common
    practice, no source).
    """
    swing = float(values.max() - values.min())
    return _step_of_few(_distances(values, swing), swing, len(values)) if swing > 0 else 0.0


def _distances(values: Array, swing: float) -> Array:
    """Distances of neighbouring values that differ, in units of ROUNDING of their swing."""
    return np.diff(np.unique(np.round(values / (ROUNDING * swing))))


def _step_of_few(apart: Array, swing: float, count: int) -> float:
    """The step of `count` values of which few differ, from their distances."""
    if len(apart) == 1:
        return swing / TWO_LEVELS
    if len(apart) + 1 > min(MOST_LEVELS, count // 2):
        return 0.0
    steps = apart / apart.min()
    whole = bool(np.all(np.abs(steps - np.round(steps)) <= EXACT * steps))
    return float(apart.min()) * ROUNDING * swing if whole else 0.0


NEIGHBOURS = 20.0
"""Steps within which neighbouring values of a converter lie, where it is seldom left out."""
NEAR_WHOLE = 0.15
"""How far a distance may be from a whole number of steps after printing, steps."""


def step_of_many(values: Array) -> float:
    """The same where a large share of the values differ: fine converters, short records.

    Parameters
    ----------
    values : ndarray of float64, shape (n,)
        Finite, in any unit; n >= 1.

    Returns
    -------
    float
        In the unit of the values; 0 where their distances are no whole numbers of one.

    Notes
    -----
    Of a converter's values most neighbours lie a few steps apart, and each distance is a whole
    number of steps. Of values that were never rounded the least distance is far below the usual.
    """
    swing = float(values.max() - values.min())
    if swing == 0:
        return 0.0
    apart = _distances(values, swing)
    known = _step_of_few(apart, swing, len(values))
    if known > 0 or len(apart) < 3:
        return known
    steps = apart / apart.min()
    near = steps[steps < NEIGHBOURS]
    # Printing shifts values by a part of a step, which the mean distance evens out.
    own = float(near.sum() / np.round(near).sum())
    whole = np.abs(near / own - np.round(near / own)) <= NEAR_WHOLE
    if len(near) < len(steps) / 2 or not whole.all():
        return 0.0
    return float(own * apart.min() * ROUNDING * swing)


def rounding(step: float) -> float:
    """Standard uncertainty of a value rounded to a step.

    Parameters
    ----------
    step : float
        In any unit, >= 0.

    Returns
    -------
    float
        In the same unit.

    References
    ----------
    GUM F.2.2.1.
    """
    return step / math.sqrt(12)
