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
NETWORKS = (2, 3, 4, 5)
"""Terms of the inverse in rising powers of 1 / (j f): a delay, then orders 0 to 3."""
WITH_ZERO = (3, 4)
"""The same of networks with one zero more: shelves."""
FITS_AS_WELL = 1.5
"""Residual re the least, up to which fewer terms tell as much."""
MOST_OFF = 0.03
"""Residual, relative to the response, above which it is none of these networks."""
REACH = 20.0
"""Frequencies re the lowest, up to which what is below them may show through the window."""
INSTANTS = 4 * REACH
"""At which the window is evaluated, in a cycle of the lowest frequency."""
EVEN = math.sqrt(3)
"""Half-width of an even distribution re its standard deviation (GUM 4.3.7)."""


class Below(NamedTuple):
    """What lies below a response, from its value at frequencies downward.

    Parameters
    ----------
    values : ndarray of complex128, shape (n,)
        As networks of high-passes go on.
    plain : ndarray of complex128, shape (n,)
        As a power of the frequency goes on.
    """

    values: Complex
    plain: Complex


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
        Both begin with the response at its lowest frequency. Where it is no such network, as noise
        isn't, its values are the plain ones.
    """
    share, plain = hz / grid[0], by_power(hz, grid, ratio)
    fitted = int(np.searchsorted(grid, grid[0] * 2**FITTED_OCTAVES))
    if fitted < LEAST_FITTED or not np.abs(ratio[:fitted]).min() > 0:
        return Below(plain, plain)
    network = _network(grid[:fitted] / grid[0], ratio[:fitted])
    return Below(plain if network is None else _limited(network, share, ratio[0]), plain)


def by_power(hz: Array, grid: Array, ratio: Complex) -> Complex:
    """A response carried on by the power of frequency that it begins with, at a constant angle.

    Parameters
    ----------
    hz, grid, ratio
        As of carried_on.

    Returns
    -------
    ndarray of complex128, shape (n,)
    """
    few = min(EDGE_POINTS, len(grid) - 1)
    edge = max(abs(ratio[0]), 1e-300)
    steep = math.log(max(abs(ratio[few]) / edge, 1e-300)) / math.log(grid[few] / grid[0])
    return np.asarray(ratio[0] * (hz / grid[0]) ** min(max(steep, 0.0), MOST_STEEP))


class _Network(NamedTuple):
    """(1 + zero / s) / (sum of terms of 1 / s), s = j f re the lowest frequency.

    off: rms residual, relative to the response.
    """

    terms: Array
    zero: float
    off: float

    def at(self, share: Array) -> Complex:
        s = 1j * share
        below = sum(term * s ** (1.0 - n) for n, term in enumerate(self.terms))
        return np.asarray((1 + self.zero / s) / below)


def _network(share: Array, ratio: Complex) -> _Network | None:
    """The one of fewest terms that fits as well as any; None where none does."""
    tried = [_fit(share, ratio, n, zero=False) for n in NETWORKS]
    tried += [_fit(share, ratio, n, zero=True) for n in WITH_ZERO]
    least = min(one.off for one in tried)
    if least > MOST_OFF:
        return None
    equal = [one for one in tried if one.off <= FITS_AS_WELL * least]
    return min(equal, key=lambda one: len(one.terms) + (one.zero != 0))


def _fit(share: Array, ratio: Complex, count: int, *, zero: bool) -> _Network:
    s = 1j * share
    columns = [ratio * s ** (1.0 - n) for n in range(count)] + ([-1 / s] if zero else [])
    stacked = np.stack(columns, axis=1)
    equations = np.concatenate([stacked.real, stacked.imag])
    wanted = np.concatenate([np.ones(len(s)), np.zeros(len(s))])
    solved = np.linalg.lstsq(equations, wanted, rcond=None)[0]
    off = equations @ solved - wanted
    return _Network(
        solved[:count], float(solved[count]) if zero else 0.0, math.sqrt(off @ off / len(s))
    )


def _limited(network: _Network, share: Array, edge: Complex) -> Complex:
    """Its values, begun with the response at the edge, rising or falling no faster than may be."""
    inside = np.maximum(share, LEAST_SHARE)
    values = network.at(inside) * (edge / network.at(np.ones(1)))
    size = np.abs(values)
    kept = np.clip(size, abs(edge) * inside**MOST_STEEP, abs(edge) / inside**MOST_RISE)
    return np.asarray(values * (kept / np.maximum(size, 1e-300)))


class ThroughWindow(NamedTuple):
    """What bins below a response give at its frequencies once it is cut by a window.

    Parameters
    ----------
    upward, downward : ndarray of complex128, shape (g, n)
        Factors of the bins and of their conjugates.
    """

    upward: Complex
    downward: Complex

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
        return np.asarray(self.upward @ bins + self.downward @ bins.conj())

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
    factors = np.zeros((2, len(grid), bins), dtype=np.complex128)
    factors[0, :near] = out @ turn
    factors[1, :near] = out @ turn.conj()
    return ThroughWindow(factors[0], factors[1])
