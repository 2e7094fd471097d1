"""Magnitude responses: read at a frequency, spread over a band, crossing a level."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.kept_property import kept_property
from backbench.signal.shape_preserving import Cubics
from backbench.signal.track import Array

HALF_POWER_DB = 20 * math.log10(math.sqrt(2))
"""What the trade calls 3 dB: a factor of the square root of 2."""

ONE_SIDED = 0.975
DEVIATE = 1.959964
"""Normal deviate of that probability."""
RIVAL = 4.0
"""Standard uncertainties by which a level that can't be the greatest is lower."""
CLEARLY = 6.0
"""Uncertainties by which the levels differ that a slope is read from: it is then right to 24 %."""


class ResponseLevel(NamedTuple):
    """A level in dB and its standard uncertainty in dB, from the record alone.

    Parameters
    ----------
    db : float
        dB.
    u : float
        dB.
    """

    db: float
    u: float


class Crossing(NamedTuple):
    """Where a response crosses a level.

    Parameters
    ----------
    hz : float
        Hz.
    u : float
        Standard uncertainty, Hz.
    within : bool
        False where the measured band ends first; `hz` is then the band's edge and u is 0.
    """

    hz: float
    u: float
    within: bool


@dataclass(frozen=True, eq=False)
class Response:
    """Levels against frequency.

    Parameters
    ----------
    hz : ndarray of float64, shape (n,)
        Rising, Hz, > 0; n >= 2.
    db : ndarray of float64, shape (n,)
        dB.
    u_db : ndarray of float64, shape (n,)
        Standard uncertainty of each level from the record alone, dB, >= 0.

    Raises
    ------
    Refusal
        Where the arrays are no response.

    Notes
    -----
    Between the points the response is a shape-preserving cubic in log frequency; the distance
    to the straight line enters the uncertainty.
    """

    hz: Array
    db: Array
    u_db: Array

    def __post_init__(self) -> None:
        if len(self.hz) < 2:
            raise Refusal("a response needs at least two frequencies")
        if self.hz[0] <= 0 or (np.diff(self.hz) <= 0).any():
            raise Refusal("the frequencies don't rise from above 0")

    def covers(self, low_hz: float, high_hz: float) -> bool:
        """Whether the band is within the measured one, to 1e-6 of the edges.

        Parameters
        ----------
        low_hz, high_hz : float
            Ends of the band, Hz, low_hz < high_hz.

        Returns
        -------
        bool
        """
        return bool(self.hz[0] <= low_hz * (1 + 1e-6) and self.hz[-1] >= high_hz * (1 - 1e-6))

    def at(self, hz: float) -> ResponseLevel:
        """The level at a frequency.

        Parameters
        ----------
        hz : float
            Hz, > 0.

        Returns
        -------
        ResponseLevel

        Raises
        ------
        Refusal
            Outside the measured band.
        """
        if not self.covers(hz, hz):
            low, high = self.hz[0], self.hz[-1]
            raise Refusal(
                f"{in_text(hz, 'Hz', 6)} is outside the measured band, "
                f"{in_text(low, 'Hz', 4)} to {in_text(high, 'Hz', 4)}"
            )
        nearest = int(np.abs(self.hz - hz).argmin())
        if math.isclose(self.hz[nearest], hz, rel_tol=1e-9):
            return ResponseLevel(float(self.db[nearest]), float(self.u_db[nearest]))
        place = math.log(min(max(hz, self.hz[0]), self.hz[-1]))
        smooth = self._between(place)
        straight = float(np.interp(place, self._log_hz, self.db))
        noise = float(np.interp(place, self._log_hz, self.u_db))
        return ResponseLevel(smooth, math.hypot(noise, (smooth - straight) / math.sqrt(3)))

    def spread(self, low_hz: float, high_hz: float) -> ResponseLevel:
        """Greatest less least level within a band (see greatest), dB.

        Parameters
        ----------
        low_hz, high_hz : float
            Ends of the band, Hz, low_hz < high_hz.

        Returns
        -------
        ResponseLevel

        Raises
        ------
        Refusal
            Where the band isn't covered.
        """
        _, db, u = self._inside(low_hz, high_hz)
        top, bottom = _rivals(db, u), _rivals(-db, u)
        apart = np.subtract.outer(db[top], db[bottom]).ravel()
        return greatest(apart, np.hypot.outer(u[top], u[bottom]).ravel()).level

    def highest(self, low_hz: float, high_hz: float) -> tuple[ResponseLevel, tuple[float, float]]:
        """Greatest level within a band (see greatest), and the band of frequencies it may be at.

        Parameters
        ----------
        low_hz, high_hz : float
            Ends of the band, Hz, low_hz < high_hz.

        Returns
        -------
        tuple of (ResponseLevel, tuple of (float, float))
            dB; Hz, lower end first.

        Raises
        ------
        Refusal
            Where the band isn't covered.
        """
        hz, db, u = self._inside(low_hz, high_hz)
        peak = greatest(db, u)
        near = np.flatnonzero(db + DEVIATE * u >= peak.low)
        low, high = max(int(near[0]) - 1, 0), min(int(near[-1]) + 1, len(hz) - 1)
        return peak.level, (float(hz[low]), float(hz[high]))

    def farthest(self, low_hz: float, high_hz: float) -> ResponseLevel:
        """How far the level within a band is from 0 dB, at most (see greatest).

        Parameters
        ----------
        low_hz, high_hz : float
            Ends of the band, Hz, low_hz < high_hz.

        Returns
        -------
        ResponseLevel

        Raises
        ------
        Refusal
            Where the band isn't covered.
        """
        _, db, u = self._inside(low_hz, high_hz)
        return greatest(np.concatenate([db, -db]), np.concatenate([u, u])).level

    def _inside(self, low_hz: float, high_hz: float) -> tuple[Array, Array, Array]:
        """Frequencies, levels and uncertainties within a band, its ends among them."""
        ends = [self.at(low_hz), self.at(high_hz)]
        inside = (self.hz > low_hz) & (self.hz < high_hz)
        return tuple(
            np.concatenate([[first], values[inside], [last]])
            for first, values, last in (
                (low_hz, self.hz, high_hz),
                (ends[0].db, self.db, ends[1].db),
                (ends[0].u, self.u_db, ends[1].u),
            )
        )  # type: ignore[return-value]

    def falls_to(self, db: float, outward_from_hz: float, *, upward: bool) -> Crossing:
        """The first frequency, going outward, at which the response is down to a level.

        Parameters
        ----------
        db : float
            The level, dB.
        outward_from_hz : float
            Where the search begins, Hz, > 0.
        upward : bool
            Whether towards higher frequencies.

        Returns
        -------
        Crossing
        """
        x = self._log_hz
        side = x > math.log(outward_from_hz) if upward else x < math.log(outward_from_hz)
        order = np.flatnonzero(side) if upward else np.flatnonzero(side)[::-1]
        below = order[self.db[order] <= db]
        if len(below) == 0:
            return Crossing(float(self.hz[-1 if upward else 0]), 0.0, within=False)
        outer = x[below[0]]
        inner = (
            max(x[below[0] - 1], math.log(outward_from_hz))
            if upward
            else min(x[below[0] + 1], math.log(outward_from_hz))
        )
        return self._crossing(db, *sorted((float(inner), float(outer))))

    def _crossing(self, db: float, low: float, high: float) -> Crossing:
        """Between two log frequencies that hold the level between theirs."""
        from scipy.optimize import brentq

        curve = self._between
        ends = [curve(x) - db for x in (low, high)]
        if ends[0] * ends[1] >= 0:  # a point at the level itself, but for rounding
            place = low if abs(ends[0]) < abs(ends[1]) else high
        else:
            place = float(brentq(lambda x: curve(x) - db, low, high))
        hz = math.exp(place)
        u = self.at(hz).u
        slope = self._tilt(place, u)
        return Crossing(hz, hz * (u / slope if slope > 0 else high - low), within=True)

    def _tilt(self, place: float, u: float) -> float:
        """Slope about a log frequency, dB per log hertz, >= 0.

        From the nearest points on either side whose levels differ clearly: the slope between
        neighbours turns with the noise of each. u: standard uncertainty of a level there, dB.
        """
        after = int(np.searchsorted(self._log_hz, place))
        first, last = max(after - 2, 0), min(after + 1, len(self.hz) - 1)
        while abs(self.db[last] - self.db[first]) < CLEARLY * u and last - first + 1 < len(self.hz):
            first, last = max(first - 1, 0), min(last + 1, len(self.hz) - 1)
        rise, run = (float(v[last] - v[first]) for v in (self.db, self._log_hz))
        return abs(rise / run)

    @kept_property
    def _log_hz(self) -> Array:
        return np.log(self.hz)

    @kept_property
    def _between(self) -> Cubics:
        return Cubics(self._log_hz.tolist(), self.db.tolist())


class Greatest(NamedTuple):
    """The greatest of many levels, between low and high in 95 of 100 records, dB.

    Parameters
    ----------
    low, high : float
        dB.
    """

    low: float
    high: float

    @property
    def level(self) -> ResponseLevel:
        """The middle of the interval, with the standard uncertainty that makes it."""
        return ResponseLevel((self.low + self.high) / 2, (self.high - self.low) / (2 * DEVIATE))


def greatest(db: Array, u: Array) -> Greatest:
    """The greatest of levels that are known with noise.

    The greatest found of many is not the greatest that there is: noise lifts one of them.

    Parameters
    ----------
    db : ndarray of float64, shape (n,)
        Levels as found, dB; n >= 1.
    u : ndarray of float64, shape (n,)
        Standard uncertainty of each, dB, >= 0.

    Returns
    -------
    Greatest

    Notes
    -----
    The level that is the greatest lies below its own upper limit, hence below the highest of these
    limits (97.5 %). That some level's lower limit lies above its true value has a chance of 2.5 %
    where the limits are set for all rivals together: the highest of them is below the greatest
    (Sidak, JASA 62, 1967: p = 0.975 to the power 1 / n; from memory). Rivals are the levels that
    aren't clearly lower than the greatest found.

    References
    ----------
    GUM F.2.4 (intervals not centred on what was found).
    """
    # Without the library of distributions, which takes a quarter of a second to load.
    many = NormalDist().inv_cdf(ONE_SIDED ** (1 / np.count_nonzero(_rivals(db, u))))
    return Greatest(float(np.max(db - many * u)), float(np.max(db + DEVIATE * u)))


def _rivals(db: Array, u: Array) -> NDArray[np.bool_]:
    """True for levels that aren't clearly lower than the greatest found."""
    top = int(np.argmax(db))
    return np.asarray(db >= db[top] - RIVAL * np.hypot(u, u[top]))


def resolution(values: Array) -> float:
    """Standard uncertainty of values as printed: q / sqrt(12), q their last decimal.

    Parameters
    ----------
    values : ndarray of float64, shape (n,)
        In any unit.

    Returns
    -------
    float
        In the same unit; 0 for values with more than nine decimals, which count as unrounded.

    References
    ----------
    GUM F.2.2.1.
    """
    for decimals in range(10):
        if np.allclose(values, np.round(values, decimals), rtol=0, atol=1e-12):
            return float(10.0**-decimals / math.sqrt(12))
    return 0.0
