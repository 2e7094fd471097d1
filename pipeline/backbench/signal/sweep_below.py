"""How a response goes on below the lowest frequency of a sweep.

A window about the linear response has so many cycles of the lowest frequencies only that what the
record can't show below them has a part in what it shows just above. What couples audio stages,
capacitors and transformers, are high-pass networks: the inverse of their response is a polynomial
of 1 / (j f) with real coefficients (a first-order one is 1 + f0 / (j f)). What the lowest two
octaves tell of it is carried on. A plain power of the frequency at a constant angle is the least
that can be said; the distance of the two is how uncertain the continuation is.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from backbench.signal.sweep_window import Complex
from backbench.signal.track import Array

EDGE_POINTS = 6
"""Grid points at the lower edge whose slope is carried on."""
MOST_STEEP = 3.0
"""Power of frequency by which a response may fall: third order."""
MOST_RISE = 1.0
"""The same where it rises towards low frequencies, as a shelf does."""
LEAST_SHARE = 0.02
"""Of the lowest frequency: below it nothing changes, which DC would let run off."""
FITTED_OCTAVES = 2.0
"""From the lowest frequency on: what the coefficients are read from."""
LEAST_FITTED = 12
"""Points that these hold at least."""
TRIED = ((2, False), (3, False), (3, True), (4, False), (4, True), (5, False))
"""Terms of the inverse in rising powers of 1 / (j f), a delay and orders 0 to 3, and whether there
is a zero as well, as shelves have."""
MOST_TERMS = 5
FITS_AT_ONCE = 2e-4
"""Residual, relative to the response, from which no further one is tried."""
FITS_AS_WELL = 1.5
"""Residual re the least, up to which fewer terms tell as much."""
FITS, LIKELY = 0.004, 0.03
"""Residual, relative to the response, up to which it is such a network, and may be one: what
strong distortion leaves there fits to 0.005 and worse (computed)."""
REACH = 20.0
"""Frequencies re the lowest, up to which what is below them may show through the window."""
INSTANTS = 4 * REACH
"""At which the window is evaluated, in a cycle of the lowest frequency."""
APART = 1e-5
"""Least of the orthogonal columns of equations re the greatest, from which they are solved so."""
EVEN = math.sqrt(3)
"""Half-width of an even distribution re its standard deviation (GUM 4.3.7)."""


class Below(NamedTuple):
    """What lies below a response, from its value at the lowest frequency downward.

    Parameters
    ----------
    network : ndarray of complex128, shape (n,)
        As the network that fits best goes on.
    plain : ndarray of complex128, shape (n,)
        As a power of the frequency goes on, at a constant angle.
    off : float
        Residual of the network, rms, relative to the response.
    """

    network: Complex
    plain: Complex
    off: float

    @property
    def fits(self) -> bool:
        """Whether the response is of such a network."""
        return self.off <= FITS

    @property
    def is_likely(self) -> bool:
        """Whether it may be of one."""
        return self.off <= LIKELY


def carried_on(hz: Array, grid: Array, ratio: Complex) -> Below:
    """A response carried on below its lowest frequency.

    Parameters
    ----------
    hz : ndarray of float64, shape (n,)
        Frequencies below the grid's first, Hz, >= 0.
    grid : ndarray of float64, shape (g,)
        Frequencies of the response, Hz, rising; g >= 2.
    ratio : ndarray of complex128, shape (g,)
        The response, its arrival at time 0.

    Returns
    -------
    Below
    """
    share = np.maximum(hz / grid[0], LEAST_SHARE)
    plain = ratio[0] * share ** _steepness(grid, ratio)
    fitted = int(np.searchsorted(grid, grid[0] * 2**FITTED_OCTAVES))
    if fitted < LEAST_FITTED or not np.abs(ratio[:fitted]).min() > 0:
        return Below(plain, plain, math.inf)
    network = _network(grid[:fitted] / grid[0], ratio[:fitted])
    return Below(_limited(network, share, ratio[0]), plain, network.off)


def _steepness(grid: Array, ratio: Complex) -> float:
    """Power of frequency with which a response begins."""
    few = min(EDGE_POINTS, len(grid) - 1)
    rise = abs(ratio[few]) / max(abs(ratio[0]), 1e-300)
    steep = math.log(max(rise, 1e-300)) / math.log(grid[few] / grid[0])
    return min(max(steep, 0.0), MOST_STEEP)


class _Network(NamedTuple):
    """(1 + zero / s) / (sum of terms of 1 / s), s = j f re the lowest frequency.

    off: rms residual, relative to the response.
    """

    terms: list[float]
    zero: float
    off: float

    def at(self, share: Array) -> Complex:
        s: Complex = np.asarray(1j * share, dtype=np.complex128)
        turned: Complex = np.asarray(1 / s)
        below: Complex = np.full(len(s), self.terms[-1], dtype=np.complex128)
        for term in self.terms[-2::-1]:
            below = below * turned + term
        return np.asarray((1 + self.zero * turned) / (below * s))


def _network(share: Array, ratio: Complex) -> _Network:
    """The one of fewest terms that fits as well as any."""
    columns = _columns(share, ratio)
    tried: list[_Network] = []
    for count, zero in TRIED:
        tried.append(_fit(columns, count, zero=zero))
        if tried[-1].off <= FITS_AT_ONCE:
            return tried[-1]
    least = min(one.off for one in tried)
    return next(one for one in tried if one.off <= FITS_AS_WELL * least)


def _columns(share: Array, ratio: Complex) -> Array:
    """A row of equations for each term, one for a zero and one for what they are to give.

    Real and imaginary parts in turn, shape (MOST_TERMS + 2, 2 points).
    """
    s = 1j * share
    columns = np.empty((MOST_TERMS + 2, len(s)), dtype=np.complex128)
    np.multiply(ratio, s, out=columns[0])
    for n in range(1, MOST_TERMS):
        np.divide(columns[n - 1], s, out=columns[n])
    np.divide(-1.0, s, out=columns[-2])
    columns[-1] = 1.0
    return columns.view(np.float64)


def _fit(columns: Array, count: int, *, zero: bool) -> _Network:
    chosen = [*range(count), *([-2] if zero else []), -1]
    equations = columns[chosen].T
    # The last column of the triangle holds what is to be given, turned alike, and what is left.
    triangle: Array = np.asarray(np.linalg.qr(equations, mode="r"))
    upper, given = triangle[:-1, :-1], triangle[:-1, -1]
    sizes = np.abs(np.diagonal(upper))
    left = float(triangle[-1, -1])
    if sizes.min() > APART * sizes.max():
        solved = np.linalg.solve(upper, given)
    else:  # the terms can't be told apart: those of the least size
        solved = np.linalg.lstsq(equations[:, :-1], equations[:, -1], rcond=None)[0]
        off = equations[:, :-1] @ solved - equations[:, -1]
        left = math.sqrt(off @ off)
    terms = solved.tolist()
    residual = abs(left) / math.sqrt(len(equations) / 2)
    return _Network(terms[:count], terms[count] if zero else 0.0, residual)


def _limited(network: _Network, share: Array, edge: Complex) -> Complex:
    """Its values, begun with the response at the edge, rising or falling no faster than may be."""
    values = network.at(np.append(share, 1.0))
    values = values[:-1] * (edge / values[-1])
    size = np.abs(values)
    kept = np.clip(size, abs(edge) * share**MOST_STEEP, abs(edge) / share**MOST_RISE)
    return np.asarray(values * (kept / np.maximum(size, 1e-300)))


class ThroughWindow(NamedTuple):
    """What bins below a response give at its frequencies once it is cut by a window.

    Parameters
    ----------
    upward, downward : ndarray of complex128, shape (near, n)
        Factors of the bins and of their conjugates, at the lowest frequencies; 0 at the rest.
    frequencies : int
        In all, g.
    """

    upward: Complex
    downward: Complex
    frequencies: int

    def shown(self, bins: Complex) -> Complex:
        """What bins give.

        Parameters
        ----------
        bins : ndarray of complex128, shape (n,)
            From 0 Hz.

        Returns
        -------
        ndarray of complex128, shape (g,)
        """
        shown: Complex = np.zeros(self.frequencies, dtype=np.complex128)
        shown[: len(self.upward)] = self.upward @ bins + self.downward @ bins.conj()
        return shown

    def uncertainty(self, bins: Complex) -> Array:
        """Standard uncertainty of the magnitude, where bins may be wrong by as much.

        Parameters
        ----------
        bins : ndarray of complex128, shape (n,)
            Half-width of what they may be off.

        Returns
        -------
        ndarray of float64, shape (g,)
        """
        return np.asarray(np.abs(self.shown(bins)) / EVEN)


def through_window(
    weights: Array, before: int, rate_hz: float, samples: int, grid: Array, bins: int
) -> ThroughWindow:
    """Factors for the first bins of a transform of `samples`, at frequencies on the grid.

    Parameters
    ----------
    weights : ndarray of float64, shape (w,)
        Of the window.
    before : int
        Samples of it before time 0.
    rate_hz : float
        Sample rate, Hz.
    samples : int
        Of the impulse response.
    grid : ndarray of float64, shape (g,)
        Hz, rising.
    bins : int
        How many, from 0 Hz.

    Returns
    -------
    ThroughWindow

    Notes
    -----
    Nothing there is fast, so that the sum over the window is one over instants far apart. Above
    REACH times the lowest frequency the factors are 0.
    """
    step = max(int(rate_hz / (INSTANTS * grid[0])), 1)
    place = np.arange(step // 2, len(weights), step)
    time_s = (place - before) / rate_hz
    near = int(np.searchsorted(grid, REACH * grid[0]))
    held = weights[place] * (step / samples)
    out = np.exp(-2j * np.pi * np.outer(grid[:near], time_s)) * held
    turn = np.exp(2j * np.pi * np.outer(time_s, np.arange(bins) * rate_hz / samples))
    turn[:, 0] /= 2
    return ThroughWindow(out @ turn, out @ turn.conj(), len(grid))
