"""Where a tabulated quantity rises through a level for good."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from backbench.signal.track import Array


class Settled(NamedTuple):
    """Where a table settles at a level.

    Parameters
    ----------
    x, u : float
        Place and its standard uncertainty, in the unit of x.
    within : bool
        False where the table begins at or above the level; x is then its first place.
    """

    x: float
    u: float
    within: bool


def settles_at(x: Array, y: Array, u: Array, level: float) -> Settled | None:
    """The least x from which y stays at or above a level; None where it ends below.

    Parameters
    ----------
    x : ndarray of float64, shape (n,)
        Rising, n >= 2, in any unit.
    y : ndarray of float64, shape (n,)
        The quantity.
    u : ndarray of float64, shape (n,)
        Standard uncertainty of y.
    level : float
        In the unit of y.

    Returns
    -------
    Settled or None
        In the unit of x.

    Notes
    -----
    Between two rows the line is straight; how far a shape-preserving cubic crosses beside it enters
    the uncertainty.
    """
    below = np.flatnonzero(y < level)
    if len(below) == 0:
        return Settled(float(x[0]), 0.0, within=False)
    i = int(below[-1])
    if i == len(x) - 1:
        return None
    width, rise = float(x[i + 1] - x[i]), float(y[i + 1] - y[i])
    place = float(x[i]) + width * (level - float(y[i])) / rise
    noise = float(max(u[i], u[i + 1])) * width / rise
    bent = abs(_cubic(x, y, level, i) - place) / math.sqrt(3)
    return Settled(place, min(math.hypot(noise, bent), width / math.sqrt(12) + noise), within=True)


def _cubic(x: Array, y: Array, level: float, i: int) -> float:
    from scipy.interpolate import PchipInterpolator
    from scipy.optimize import brentq

    if y[i + 1] == level:
        return float(x[i + 1])
    curve = PchipInterpolator(x, y)
    return float(brentq(lambda place: float(curve(place)) - level, x[i], x[i + 1]))
