"""How far places in a spectrum are from the nearest of some lines."""

from __future__ import annotations

import math

import numpy as np

from backbench.signal.track import Array


def fenced(lines: Array) -> Array:
    """Lines between one below and one above all, as apart_from takes them.

    Parameters
    ----------
    lines : ndarray of float64, shape (k,)
        Fractional bins, rising.

    Returns
    -------
    ndarray of float64, shape (k + 2,)
    """
    return np.concatenate([[-math.inf], lines, [math.inf]])


def apart_from(centres: Array, lines: Array) -> Array:
    """Distance of places to the nearest of some lines.

    Parameters
    ----------
    centres : ndarray of float64, shape (...)
        Bins.
    lines : ndarray of float64, shape (k + 2,)
        See fenced.

    Returns
    -------
    ndarray of float64, shape (...)
        Bins.
    """
    above = lines.searchsorted(centres)
    away: Array = np.minimum(centres - lines[above - 1], lines[above] - centres)
    return away
