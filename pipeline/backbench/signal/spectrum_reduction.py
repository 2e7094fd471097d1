"""A spectrum drawn with a few hundred points on a logarithmic axis."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.signal.spectrum import Spectrum
from backbench.signal.track import Array

POINTS = 600
LOWEST_HZ = 10.0
_STANDING = 7.0


def reduced(spectrum: Spectrum, noise: Array) -> tuple[Array, Array]:
    """Frequencies and power by bin of at most 600 groups of bins of equal ratio.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    noise : ndarray of float64, shape (bins,)
        Mean noise power by bin, V^2, as far as is to be drawn.

    Returns
    -------
    hz : ndarray of float64, shape (groups,)
        Hz.
    power : ndarray of float64, shape (groups,)
        V^2, > 0.

    Notes
    -----
    A group in which a line stands out gives the line's peak at its own frequency, so that no
    line is lost; any other gives the mean of its bins, so that noise is neither raised nor
    lowered by the drawing.
    """
    df = spectrum.resolution_hz
    first = max(int(np.ceil(LOWEST_HZ / df)), spectrum.window.half_width)
    groups = _groups(first, len(noise))
    starts, counts = groups.starts, groups.counts
    power = spectrum.power[: len(noise)]
    peaks = np.maximum.reduceat(power, starts)
    y: Array = np.add.reduceat(power, starts) / counts
    lines = peaks > noise[groups.middles] * groups.standing
    x: Array = groups.centres.copy()
    for group in np.flatnonzero(lines).tolist():
        start, count = starts[group], counts[group]
        x[group] = start + power[start : start + count].argmax()
    y[lines] = _summit(power, x[lines], peaks[lines])
    return x * df, np.maximum(y, 1e-40)


class _Groups(NamedTuple):
    """First bins of groups, how many there are in each, a bin in its middle, its centre, and times
    the noise from which its greatest bin is a line's."""

    starts: NDArray[np.int_]
    counts: NDArray[np.int_]
    middles: NDArray[np.int_]
    centres: Array
    standing: Array


@lru_cache(maxsize=4)
def _groups(first: int, end: int) -> _Groups:
    """The groups into which bins first to end - 1 are parted."""
    edges = np.unique(np.rint(np.geomspace(first, end, POINTS + 1)).astype(int))
    starts, counts = edges[:-1], np.diff(edges)
    groups = _Groups(
        starts, counts, starts + counts // 2, starts + (counts - 1) / 2, np.log(counts) + _STANDING
    )
    for each in groups:
        each.setflags(write=False)
    return groups


def _summit(power: Array, x: Array, peaks: Array) -> Array:
    """Peaks between two bins, by a parabola through the logarithms of three.

    The windows' lobes are close to Gaussian, so the parabola is right to some 0.02 dB.
    """
    middle: NDArray[np.int_] = np.clip(np.rint(x).astype(int), 1, len(power) - 2)
    below, here, above = (np.log(np.maximum(power[middle + k], 1e-300)) for k in (-1, 0, 1))
    bend = below - 2 * here + above
    summit = (here >= below) & (here >= above) & (bend < 0)
    rise = np.where(summit, -((above - below) ** 2) / (8 * np.where(summit, bend, -1.0)), 0.0)
    envelope: Array = peaks * np.exp(rise)
    return envelope
