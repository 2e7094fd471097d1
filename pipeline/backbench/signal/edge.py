"""A transition between two states and its aberrations (terms of IEEE 181)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from backbench.errors import Refusal
from backbench.signal.kept_property import kept_property
from backbench.signal.track import Array

SETTLED = 0.02
"""Half-width of the band that a step settles into, of its amplitude: common practice, no source."""
LEAST_EXTREME = 0.005
"""An extreme of ringing counts above this share of the amplitude."""
ALIKE = 1e-9
"""Of the amplitude: levels that differ by less are the same but for rounding."""
STRETCH = 64
"""Samples next to half-way that are looked at first for a level: most edges reach it there."""
CLEAR = 4.0
"""Standard deviations of the noise that an aberration must exceed."""


class Extreme(NamedTuple):
    """A turn of the ringing.

    Parameters
    ----------
    time_s : float
        After the half-way instant, s.
    volts : float
        Deviation from the top, V.
    """

    time_s: float
    volts: float


@dataclass(frozen=True, eq=False)
class Edge:
    """A transition, turned so that it rises.

    Parameters
    ----------
    rising : bool
        Whether it rises in the record.
    middle_s : float
        Where t is 0 in the record, s.
    t : ndarray of float64, shape (n,)
        s after the middle crossing, rising.
    v : ndarray of float64, shape (n,)
        V, with both states' tilt taken off as from that instant.
    half_s : float
        Duration of a state, s.
    until_s : float
        End of what is looked at of it, before the next transition, s.
    low, high : float
        State levels at the edge, V (falling edges turned).
    tilted : float or None
        Fall of the state after it from its first to its last instant, V; None where the state is
        too short to tell a fall from ringing.
    misfit : float
        rms of what remains beside that fit, V.
    noise : float
        Standard deviation of the samples, V.
    open_fall, open_level : float
        Standard uncertainty that it leaves tilted and the levels, V.
    """

    rising: bool
    middle_s: float
    t: Array
    v: Array
    half_s: float
    until_s: float
    low: float
    high: float
    tilted: float | None
    misfit: float
    noise: float
    open_fall: float
    open_level: float

    @property
    def amplitude(self) -> float:
        """High less low state, V."""
        return self.high - self.low

    def crossing(self, fraction: float) -> float:
        """Instant about the half-way one at which the step passes a fraction of itself.

        Where noise makes it pass more than once before it is clearly beyond, the middle of the
        first and the last time.

        Parameters
        ----------
        fraction : float
            Of the step, 0 to 1.

        Returns
        -------
        float
            s.

        Raises
        ------
        Refusal
            Where the step never reaches its own top.
        """
        if fraction not in self._crossings:
            self._crossings[fraction] = self._crossed(fraction)
        return self._crossings[fraction]

    @kept_property
    def _crossings(self) -> dict[float, float]:
        """Those asked for, by fraction."""
        return {}

    def _crossed(self, fraction: float) -> float:
        level = self.low + fraction * self.amplitude
        near = ALIKE * self.amplitude
        clearly = max(CLEAR * self.noise, near)
        middle = self._middle
        first, last = 0, middle
        if fraction < 0.5:
            back = _first(self.v[:middle][::-1], max(level - clearly, self.low + near), above=False)
            first = 0 if back is None else middle - 1 - back
        else:
            after = _first(self.v[middle:], min(level + clearly, self.high - near), above=True)
            if after is None:
                raise Refusal("the step never reaches its own top")
            first, last = max(middle - 1, 0), middle + after
        part = self.v[first : last + 1]
        passes = ((part[:-1] < level) & (part[1:] >= level)).nonzero()[0] + first
        if not len(passes):
            return float(self.t[first if fraction < 0.5 else last])
        return (self._passed(int(passes[0]), level) + self._passed(int(passes[-1]), level)) / 2

    def _passed(self, before: int, level: float) -> float:
        """Instant at which the straight line from a sample to the next passes a level, s."""
        v, next_v = self.v[before : before + 2].tolist()
        t, next_t = self.t[before : before + 2].tolist()
        return float(t + (level - v) / (next_v - v) * (next_t - t))

    @kept_property
    def _middle(self) -> int:
        """The first sample from half-way on."""
        return int(self.t.searchsorted(0.0))

    @kept_property
    def duration(self) -> float:
        """From 10 % to 90 % of the amplitude, s."""
        return self.crossing(0.9) - self.crossing(0.1)

    @kept_property
    def step(self) -> float:
        """Greatest distance of the samples from the edge's foot to its duration after it, s."""
        first = int(np.searchsorted(self.t, self.crossing(0.1), side="right")) - 1
        last = int(np.searchsorted(self.t, self.crossing(0.9) + self.duration, side="left"))
        first, last = max(first, 0), min(last, len(self.t) - 1)
        return float(np.diff(self.t[first : last + 1]).max())

    def step_at(self, instant: float) -> float:
        """Distance of the samples on either side of an instant.

        Parameters
        ----------
        instant : float
            s after half-way.

        Returns
        -------
        float
            s, > 0.
        """
        after = int(np.searchsorted(self.t, instant))
        after = min(max(after, 1), len(self.t) - 1)
        return float(self.t[after] - self.t[after - 1])

    @kept_property
    def after(self) -> tuple[Array, Array]:
        """Instants from the first at 90 % to near the state's end, and deviation from the top."""
        first = self.t.searchsorted(self.crossing(0.9))
        chosen = slice(first, self.t.searchsorted(self.until_s, "right"))
        return self.t[chosen], self.v[chosen] - self.high

    def duration_within(self, level: float) -> float:
        """How far the duration may be off where the states are.

        Parameters
        ----------
        level : float
            Fraction of the amplitude by which the states may be off.

        Returns
        -------
        float
            s.
        """
        wide = self.crossing(0.9 + level) - self.crossing(0.1 - level)
        narrow = self.crossing(0.9 - level) - self.crossing(0.1 + level)
        return (wide - narrow) / 2

    @kept_property
    def overshoot(self) -> float:
        """Greatest excursion beyond the new state, of the amplitude; >= 0."""
        return max(float(self.after[1].max()), 0.0) / self.amplitude

    @kept_property
    def undershoot(self) -> float:
        """Greatest excursion back below the new state once it was reached, of the amplitude."""
        deviation = self.after[1]
        reached = np.flatnonzero(deviation >= 0)
        if not len(reached):
            return 0.0
        return max(-float(deviation[reached[0] :].min()), 0.0) / self.amplitude

    @kept_property
    def preshoot(self) -> float:
        """Greatest excursion away from the step before it, of the amplitude; >= 0."""
        first = self.t.searchsorted(-0.5 * self.half_s, "right")
        before = self.v[first : self.t.searchsorted(self.crossing(0.1))]
        if not len(before):
            return 0.0
        return max(self.low - float(before.min()), 0.0) / self.amplitude

    def settling(self, band: float = SETTLED) -> float:
        """From half-way to the last entry into the band about the top.

        Looked for in the smoothed course, so that single samples' noise doesn't lengthen it.

        Parameters
        ----------
        band : float
            Half-width of the band, of the amplitude.

        Returns
        -------
        float
            s; inf where it never settles.
        """
        t = self.smoothed[0]
        outside = np.flatnonzero(self._smoothed_size > band * self.amplitude)
        half_way = self.crossing(0.5)
        if not len(outside):
            return self.crossing(1 - band) - half_way
        last = int(outside[-1])
        if last >= len(t) - 2:
            return math.inf
        return float(t[last] + t[last + 1]) / 2 - half_way

    @kept_property
    def smoothing(self) -> int:
        """Samples that are averaged where the settling is looked for: an eighth of the edge's
        duration, which leaves a ringing as fast as the edge within 3 % of its height."""
        return max(int(self.duration / 8 / self.step), 1)

    @kept_property
    def smoothed(self) -> tuple[Array, Array]:
        """Instants after the edge and deviation from the top, averaged over neighbours."""
        t, deviation = self.after
        n = self.smoothing
        if n == 1 or len(t) <= n:
            return t, deviation
        return _means_of_neighbours(t, n), _means_of_neighbours(deviation, n)

    @kept_property
    def _smoothed_size(self) -> Array:
        return np.abs(self.smoothed[1])

    def extremes(self, least: float) -> list[Extreme]:
        """Turns of the ringing, as long as each is above `least` and they alternate.

        Parameters
        ----------
        least : float
            V.

        Returns
        -------
        list of Extreme
            In order of time.
        """
        t, deviation = self.after
        known = np.flatnonzero(deviation)
        sign = np.sign(deviation[known])
        changes = known[1:][sign[1:] * sign[:-1] < 0]
        extremes: list[Extreme] = []
        for first, last in pairwise([*changes, len(t)]):
            peak = int(first) + int(np.argmax(np.abs(deviation[first:last])))
            if abs(deviation[peak]) < least:
                break
            extremes.append(Extreme(float(t[peak]), float(deviation[peak])))
        return extremes


def _first(v: Array, level: float, *, above: bool) -> int | None:
    """The first value at or beyond a level, looked for in ever longer stretches."""
    start, count = 0, STRETCH
    while start < len(v):
        some = v[start : start + count]
        beyond = some >= level if above else some <= level
        place = int(beyond.argmax())
        if beyond[place]:
            return start + place
        start, count = start + count, 8 * count
    return None


def _means_of_neighbours(values: Array, n: int) -> Array:
    """Means of each n values in a row, shape (len(values) - n + 1,)."""
    sums = np.zeros(len(values) + 1)
    np.cumsum(values, out=sums[1:])
    return np.asarray((sums[n:] - sums[:-n]) / n)
