"""A spectrum drawn with a few hundred points on a logarithmic axis."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.signal.spectrum import Spectrum
from backbench.signal.track import Array

POINTS = 600
LOWEST_HZ = 10.0
_STANDING = 7.0
FEW = 8
"""Lines up to which each is worked out by itself, which is quicker."""
LEAST = 1e-300


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
    x: Array = groups.centres.copy()
    lines = (peaks > noise[groups.middles] * groups.standing).nonzero()[0]
    ends = zip(starts[lines].tolist(), counts[lines].tolist(), strict=True)
    places = [first + int(power[first : first + count].argmax()) for first, count in ends]
    x[lines], y[lines] = places, _summits(power, places)
    x *= df
    return x, np.maximum(y, 1e-40, out=y)


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


def _summits(power: Array, peaks: list[int]) -> Array | list[float]:
    """Peaks between two bins, by a parabola through the logarithms of three.

    The windows' lobes are close to Gaussian, so the parabola is right to some 0.02 dB.
    """
    if len(peaks) <= FEW:
        return [_summit(power, peak) for peak in peaks]
    middles = np.minimum(np.maximum(peaks, 1), len(power) - 2)
    below, here, above = np.log(np.maximum(power[np.add.outer((-1, 0, 1), middles)], LEAST))
    bend = below - 2 * here + above
    summit = (here >= below) & (here >= above) & (bend < 0)
    rise = np.square(above - below) / (-8 * np.where(summit, bend, -np.inf))
    return np.asarray(power[peaks] * np.exp(rise))


def _summit(power: Array, peak: int) -> float:
    """That of one, without arrays."""
    middle = min(max(peak, 1), len(power) - 2)
    below, here, above = (math.log(max(power[k], LEAST)) for k in range(middle - 1, middle + 2))
    bend, highest = below - 2 * here + above, float(power[peak])
    if here < below or here < above or bend >= 0:
        return highest
    return highest * math.exp(-((above - below) ** 2) / (8 * bend))
