"""The window that keeps the linear response of a sweep, and the noise that comes through it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.signal.track import Array

Complex = NDArray[np.complex128]

HARMONIC_GAP = (0.3, 0.6)
"""Start of the window before arrival, flat and outer, re the distance to the second harmonic."""
CYCLES_AFTER = 4.0
"""Length after arrival, in cycles of the sweep's lowest frequency: what still rings there."""
LEAST_AFTER_S = 0.2
FLAT_AFTER = 0.6
CELLS = 10.0
"""Half-width, in resolution cells of the window, over which the noise density is averaged."""
LINE_CELLS = 1.5
"""Half-width within which a mains line is looked for."""
LINE_STANDS_OUT = 6.0
"""Power of a line re the mean about it; noise alone reaches it once in 400 cells (exp -6)."""
HALF_WIDTH = 0.06
"""Half-width re the frequency, where that is wider."""


class SweepParameters(NamedTuple):
    """An exponential sweep as stated.

    Parameters
    ----------
    start_hz, stop_hz : float
        Hz, 0 < start_hz < stop_hz.
    duration_s : float
        s, > 0.
    """

    start_hz: float
    stop_hz: float
    duration_s: float

    @property
    def scale_s(self) -> float:
        """Time in which the frequency rises by a factor of e."""
        return self.duration_s / math.log(self.stop_hz / self.start_hz)


class Played(NamedTuple):
    """Density of what was played, at rising frequencies.

    Parameters
    ----------
    hz : ndarray of float64, shape (n,)
        Rising, > 0.
    density : ndarray of float64, shape (n,)
        > 0.
    """

    hz: Array
    density: Array

    def at(self, hz: Array) -> Array:
        """Density at frequencies, held beyond the ends.

        Parameters
        ----------
        hz : ndarray of float64
            Hz, > 0.

        Returns
        -------
        ndarray of float64
            Of the same shape.
        """
        return self.at_logarithms(np.log(hz))

    def at_logarithms(self, log_hz: Array) -> Array:
        """As at, of the logarithms of the frequencies.

        Parameters
        ----------
        log_hz : ndarray of float64
            Of Hz.

        Returns
        -------
        ndarray of float64
            Of the same shape.
        """
        return np.asarray(np.exp(np.interp(log_hz, np.log(self.hz), np.log(self.density))))


class ImpulseWindow(NamedTuple):
    """A window about a place in an impulse response.

    Parameters
    ----------
    before : int
        Samples before the place, >= 0.
    weights : ndarray of float64, shape (n,)
        0 to 1.
    size : int
        Length of the transform, >= n.
    """

    before: int
    weights: Array
    size: int

    @property
    def after(self) -> int:
        """Samples from the place on."""
        return len(self.weights) - self.before

    def cut(self, impulse: Array, place: int) -> Complex:
        """Spectrum of an impulse response, weighted about a place.

        Parameters
        ----------
        impulse : ndarray of float64, shape (m,)
            Circular.
        place : int
            Sample that is time 0.

        Returns
        -------
        ndarray of complex128, shape (size // 2 + 1,)
        """
        return np.asarray(self.cuts([impulse], [[place]])[0])

    def cuts(self, impulses: Sequence[Array] | Array, places: Sequence[Sequence[int]]) -> Complex:
        """Spectra of impulse responses, each weighted about several places, in one call.

        Parameters
        ----------
        impulses : sequence of ndarray of float64, shape (m,)
            Circular.
        places : sequence of sequence of int
            Samples of each that are time 0, k in all.

        Returns
        -------
        ndarray of complex128, shape (k, size // 2 + 1)
            Those of the first response first.
        """
        from scipy import fft

        wanted = [
            (impulse, place) for impulse, own in zip(impulses, places, strict=True) for place in own
        ]
        padded = np.zeros((len(wanted), self.size))
        for row, (impulse, place) in zip(padded, wanted, strict=True):
            piece, middle = around(impulse, place - self.before, place + self.after), self.before
            np.multiply(piece[middle:], self.weights[middle:], out=row[: self.after])
            np.multiply(piece[:middle], self.weights[:middle], out=row[self.size - middle :])
        return np.asarray(fft.rfft(padded, axis=1, overwrite_x=True))


def around(impulse: Array, first: int, stop: int) -> Array:
    """Samples of a circular response.

    Parameters
    ----------
    impulse : ndarray of float64, shape (m,)
        Circular.
    first, stop : int
        The first sample and the one after the last, which may lie beyond the ends.

    Returns
    -------
    ndarray of float64, shape (stop - first,)
        Of which the response may be the base.
    """
    if first >= 0 and stop <= len(impulse):
        return impulse[first:stop]
    return np.asarray(np.take(impulse, np.arange(first, stop), mode="wrap"))


@lru_cache(maxsize=4)
def window_of(rate_hz: float, sweep: SweepParameters, length: int) -> ImpulseWindow:
    """Flat about the place, raised-cosine flanks; begins after the second harmonic's response.

    Kept, because it is the same for every record of a sweep.

    Parameters
    ----------
    rate_hz : float
        Sample rate of the impulse response, Hz.
    sweep : SweepParameters
        What was played.
    length : int
        Of the impulse response, samples; the window ends early enough for another beside it.

    Returns
    -------
    ImpulseWindow
    """
    from scipy import fft

    gap = sweep.scale_s * math.log(2) * rate_hz
    flat_before, before = (round(share * gap) for share in HARMONIC_GAP)
    lasting = max(LEAST_AFTER_S, CYCLES_AFTER / sweep.start_hz) * rate_hz
    after = min(round(lasting), length // 3)
    flat_after = round(FLAT_AFTER * after)
    rise, fall = flank(before - flat_before), flank(after - flat_after)[::-1]
    weights = np.concatenate([rise, np.ones(flat_before + flat_after), fall])
    weights.setflags(write=False)
    return ImpulseWindow(before, weights, fft.next_fast_len(4 * len(weights), real=True))


def flank(length: int) -> Array:
    """A raised cosine that rises from 0 to 1.

    Parameters
    ----------
    length : int
        Samples, >= 0.

    Returns
    -------
    ndarray of float64, shape (length,)
        0 to 1.
    """
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * (np.arange(length) + 0.5) / max(length, 1)))


def noise_density(power: Array, window: ImpulseWindow, rate_hz: float, at_hz: Array) -> Array:
    """Mean of the power by bin about the given frequencies, of what came through a window.

    Parameters
    ----------
    power : ndarray of float64, shape (bins,)
        By bin of the window's transform.
    window : ImpulseWindow
        The window.
    rate_hz : float
        Sample rate of the impulse response, Hz.
    at_hz : ndarray of float64, shape (k,)
        Frequencies, Hz, rising.

    Returns
    -------
    ndarray of float64, shape (k,)
        In the unit of `power`.

    Notes
    -----
    A line that stands out of the noise beside it counts in place of the mean.
    """
    cell, resolved = rate_hz / window.size, rate_hz / len(window.weights)
    mean = mean_about(power, cell, at_hz, np.maximum(CELLS * resolved, HALF_WIDTH * at_hz))
    line = _greatest(power, cell, at_hz, LINE_CELLS * resolved)
    return np.where(line > LINE_STANDS_OUT * mean, line, mean)


def _greatest(power: Array, cell: float, at_hz: Array, half: float) -> Array:
    """Greatest of the bins `cell` Hz apart within `half` of each frequency."""
    return np.asarray(power[_beside(cell, at_hz.tobytes(), half, len(power))].max(axis=1))


@lru_cache(maxsize=4)
def _beside(cell: float, at: bytes, half: float, count: int) -> NDArray[np.intp]:
    """These bins of `count`, a row for each frequency. at: of float64, Hz. Kept, because they are
    the same for every record of a sweep."""
    steps = np.arange(-math.ceil(half / cell), math.ceil(half / cell) + 1)
    nearest = np.rint(np.frombuffer(at) / cell).astype(int)
    return np.clip(nearest[:, None] + steps, 1, count - 1)


def mean_about(power: Array, cell: float, at_hz: Array, half: Array) -> Array:
    """Mean of bins about each frequency, none below the first frequency.

    Parameters
    ----------
    power : ndarray of float64, shape (bins,)
        By bin, from 0 Hz.
    cell : float
        Distance of bins, Hz.
    at_hz : ndarray of float64, shape (k,)
        Frequencies, Hz, rising.
    half : ndarray of float64, shape (k,)
        Half-width of the mean, Hz.

    Returns
    -------
    ndarray of float64, shape (k,)
        In the unit of `power`.
    """
    low, high, last = _ends(cell, at_hz.tobytes(), half.tobytes(), len(power))
    sums = np.zeros(last + 1)
    np.cumsum(power[: len(sums) - 1], out=sums[1:])
    return np.asarray((sums[high] - sums[low]) / (high - low))


@lru_cache(maxsize=16)
def _ends(
    cell: float, at: bytes, half: bytes, count: int
) -> tuple[NDArray[np.intp], NDArray[np.intp], int]:
    """First bin of `count` about each frequency, the one after the last, and the greatest of these.

    at, half: of float64, Hz. Kept, because they are the same for every record of a sweep.
    """
    at_hz, half_hz = np.frombuffer(at), np.frombuffer(half)
    low = np.clip(np.floor((at_hz - half_hz) / cell), at_hz[0] / cell, count - 2).astype(int)
    high = np.clip(np.ceil((at_hz + half_hz) / cell), low + 1, count).astype(int)
    return low, high, int(high.max())
