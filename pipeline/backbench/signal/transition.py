"""A step between two states: levels, transition and what surrounds it (terms of IEEE 181)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from backbench.errors import Refusal
from backbench.signal.state_fit import LATE, fit_state
from backbench.signal.track import Array

SETTLED = 0.02
"""Half-width of the band that a step settles into, of its amplitude: common practice, no source."""
WHOLE = 0.95
"""Share of a state up to which it is looked at, or up to an edge's duration before the next."""
LEAST_STATE = 4.4
"""A state must be this many times as long as the edge: by then a step of second order with little
overshoot has passed its first turn and come back to its level."""
NEAR = (0.15, 0.4)
"""Part of the states about an edge that tells its rough amplitude before tilt is known."""
LONG = 30.0
"""A state this many times as long as the edge has settled where its tilt is read: ringing of a
damping ratio of 0.3 has fallen to 3 % of the step by then."""
BINS = 200
LEAST_EXTREME = 0.005
"""An extreme of ringing counts above this share of the amplitude."""
ALIKE = 1e-9
"""Of the amplitude: levels that differ by less are the same but for rounding."""
CLEAR = 4.0
"""Standard deviations of the noise that an aberration must exceed."""


class Extreme(NamedTuple):
    """A turn of the ringing: time after the half-way instant, s, and deviation from the top, V."""

    time_s: float
    volts: float


@dataclass(frozen=True, eq=False)
class Edge:
    """A transition, turned so that it rises. t: s after the middle crossing, rising; v: V, with
    both states' tilt taken off as from that instant.

    middle_s: where t is 0 in the record. half_s: duration of a state. until_s: end of what is
    looked at of it, before the next transition. low, high: state levels at the edge, V (falling
    edges turned). tilted: fall of the state after it from its first to its last instant, V; None
    where the state is too short to tell a fall from ringing. misfit: rms of what remains beside
    that fit, V. noise: standard deviation of the samples, V. open_fall, open_level: standard
    uncertainty that it leaves tilted and the levels, V.
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

    def crossing(self, share: float) -> float:
        """Instant about the half-way one, s, at which the step passes a share of itself.

        Where noise makes it pass more than once before it is clearly beyond, the middle of the
        first and the last time. Raises Refusal where the step never reaches its own top.
        """
        level = self.low + share * self.amplitude
        near = ALIKE * self.amplitude
        clearly = max(CLEAR * self.noise, near)
        middle = int(np.searchsorted(self.t, 0.0))
        first, last = 0, middle
        if share < 0.5:
            below = np.flatnonzero(self.v[:middle] <= max(level - clearly, self.low + near))
            first = int(below[-1]) if len(below) else 0
        else:
            goal = min(level + clearly, self.high - near)
            above = np.flatnonzero(self.v[middle:] >= goal)
            if not len(above):
                raise Refusal("the step never reaches its own top")
            first, last = max(middle - 1, 0), middle + int(above[0])
        part = self.v[first : last + 1]
        passes = np.flatnonzero((part[:-1] < level) & (part[1:] >= level)) + first
        if not len(passes):
            return float(self.t[first if share < 0.5 else last])
        return (self._passed(int(passes[0]), level) + self._passed(int(passes[-1]), level)) / 2

    def _passed(self, before: int, level: float) -> float:
        """Instant at which the straight line from a sample to the next passes a level, s."""
        rise = self.v[before + 1] - self.v[before]
        part = (level - self.v[before]) / rise
        return float(self.t[before] + part * (self.t[before + 1] - self.t[before]))

    @cached_property
    def duration(self) -> float:
        """From 10 % to 90 % of the amplitude, s."""
        return self.crossing(0.9) - self.crossing(0.1)

    @cached_property
    def step(self) -> float:
        """Greatest distance of the samples from the edge's foot to its duration after it, s."""
        first = int(np.searchsorted(self.t, self.crossing(0.1), side="right")) - 1
        last = int(np.searchsorted(self.t, self.crossing(0.9) + self.duration, side="left"))
        first, last = max(first, 0), min(last, len(self.t) - 1)
        return float(np.diff(self.t[first : last + 1]).max())

    def step_at(self, instant: float) -> float:
        """Distance of the samples on either side of an instant, s after half-way."""
        after = int(np.searchsorted(self.t, instant))
        after = min(max(after, 1), len(self.t) - 1)
        return float(self.t[after] - self.t[after - 1])

    @cached_property
    def after(self) -> tuple[Array, Array]:
        """Instants from the first at 90 % to near the state's end, and deviation from the top."""
        chosen = (self.t >= self.crossing(0.9)) & (self.t <= self.until_s)
        return self.t[chosen], self.v[chosen] - self.high

    def duration_within(self, level: float) -> float:
        """How far the duration may be off where the states are, by a share of the amplitude."""
        wide = self.crossing(0.9 + level) - self.crossing(0.1 - level)
        narrow = self.crossing(0.9 - level) - self.crossing(0.1 + level)
        return (wide - narrow) / 2

    @cached_property
    def overshoot(self) -> float:
        """Greatest excursion beyond the new state, of the amplitude; >= 0."""
        return max(float(self.after[1].max()), 0.0) / self.amplitude

    @cached_property
    def undershoot(self) -> float:
        """Greatest excursion back below the new state once it was reached, of the amplitude."""
        deviation = self.after[1]
        reached = np.flatnonzero(deviation >= 0)
        if not len(reached):
            return 0.0
        return max(-float(deviation[reached[0] :].min()), 0.0) / self.amplitude

    @cached_property
    def preshoot(self) -> float:
        """Greatest excursion away from the step before it, of the amplitude; >= 0."""
        chosen = (self.t > -0.5 * self.half_s) & (self.t < self.crossing(0.1))
        if not chosen.any():
            return 0.0
        return max(self.low - float(self.v[chosen].min()), 0.0) / self.amplitude

    def settling(self, band: float = SETTLED) -> float:
        """From half-way to the last entry into the band about the top, s; inf where it never does.

        Looked for in the smoothed course, so that single samples' noise doesn't lengthen it.
        """
        t, deviation = self.smoothed
        outside = np.flatnonzero(np.abs(deviation) > band * self.amplitude)
        half_way = self.crossing(0.5)
        if not len(outside):
            return self.crossing(1 - band) - half_way
        last = int(outside[-1])
        if last >= len(t) - 2:
            return math.inf
        return float(t[last] + t[last + 1]) / 2 - half_way

    @cached_property
    def smoothing(self) -> int:
        """Samples that are averaged where the settling is looked for: an eighth of the edge's
        duration, which leaves a ringing as fast as the edge within 3 % of its height."""
        return max(int(self.duration / 8 / self.step), 1)

    @cached_property
    def smoothed(self) -> tuple[Array, Array]:
        """Instants after the edge and deviation from the top, averaged over neighbours."""
        t, deviation = self.after
        n = self.smoothing
        if n == 1 or len(t) <= n:
            return t, deviation
        sums = np.cumsum(np.stack([t, deviation]), axis=1)
        sums = np.concatenate([np.zeros((2, 1)), sums], axis=1)
        means = (sums[:, n:] - sums[:, :-n]) / n
        return means[0], means[1]

    def extremes(self, least: float) -> list[Extreme]:
        """Turns of the ringing in order, as long as each is above `least` (V) and alternates."""
        t, deviation = self.after
        known = np.flatnonzero(deviation)
        sign = np.sign(deviation[known])
        changes = known[1:][sign[1:] * sign[:-1] < 0]
        found: list[Extreme] = []
        for first, last in pairwise([*changes, len(t)]):
            peak = int(first) + int(np.argmax(np.abs(deviation[first:last])))
            if abs(deviation[peak]) < least:
                break
            found.append(Extreme(float(t[peak]), float(deviation[peak])))
        return found


def state_levels(volts: Array) -> tuple[float, float]:
    """Low and high state: modes of the histogram's lower and upper half.

    Parameters
    ----------
    volts : ndarray of float64, shape (n,)
        Finite, V.

    Returns
    -------
    low, high : float
        V.

    Raises
    ------
    Refusal
        Where every sample is the same.

    Notes
    -----
    The mode's bin gives the place; the mean of the samples in it and in the bins beside it the
    level, so that it doesn't hang on how the bins happen to lie.

    References
    ----------
    IEEE 181, 5.2.1.
    """
    low, high = float(volts.min()), float(volts.max())
    if low == high:
        raise Refusal("silence: every sample is the same")
    width = (high - low) / BINS
    # One bin more, for the highest value, which lies on the last one's edge.
    counts = np.bincount(((volts - low) / width).astype(int), minlength=BINS + 1)
    counts[BINS - 1] += counts[BINS]
    counts = counts[:BINS]
    # Of bins with as many beside them the fullest: an ideal state fills one bin only.
    fullness = np.convolve(counts, np.ones(3), "same") + counts / (counts.max() + 1.0)
    half = BINS // 2
    places = int(fullness[:half].argmax()), half + int(fullness[half:].argmax())
    bottom, top = (_centre(volts, low + (place + 0.5) * width, width) for place in places)
    return bottom, top


def _centre(volts: Array, level: float, width: float) -> float:
    """Mean of the samples within a bin and a half of itself, from a level near it."""
    for _ in range(10):
        near = volts[np.abs(volts - level) <= 1.5 * width]
        if not len(near):
            break
        level, before = float(near.mean()), level
        if level == before:
            break
    return level


def read_edge(time: Array, volts: Array, at: float, half_s: float, *, rising: bool) -> Edge:
    """The step about an instant.

    Parameters
    ----------
    time : ndarray of float64, shape (n,)
        Rising, s, from one state before to one after it.
    volts : ndarray of float64, shape (n,)
        V.
    at : float
        The instant, s.
    half_s : float
        Duration of a state, s.
    rising : bool
        Whether the step goes upward.

    Returns
    -------
    Edge

    Raises
    ------
    Refusal
        Where a state has too few samples, the states cross, the step never reaches its own top, or
        it is too long beside them.
    """
    near = np.abs(time - at) <= WHOLE * half_s
    t, v = time[near] - at, volts[near] * (1.0 if rising else -1.0)
    duration = _roughly(t, v, half_s)
    until = max(min(WHOLE, 1 - duration / half_s), LATE + 0.1) * half_s
    long = half_s >= LONG * duration
    before = fit_state(t, v, half_s, -half_s, until, tilted=long)
    after = fit_state(t, v, half_s, 0.0, until, tilted=long)
    level = np.where(t < 0, before.at(t) - before.at_edge, after.at(t) - after.at_edge)
    edge = Edge(
        rising=rising,
        middle_s=at,
        t=t,
        v=v - level,
        half_s=half_s,
        until_s=until,
        low=before.at_edge,
        high=after.at_edge,
        tilted=after.fall if long else None,
        misfit=max(before.misfit, after.misfit),
        noise=max(before.noise, after.noise),
        open_fall=after.open_fall,
        open_level=max(before.open_edge, after.open_edge),
    )
    if edge.amplitude <= 0:
        raise Refusal("not a square wave: the states cross before the edge")
    if edge.duration * LEAST_STATE > half_s:
        raise Refusal("the edges are too long beside the states; take a lower frequency")
    return edge


def _roughly(t: Array, v: Array, half_s: float) -> float:
    """Duration of a transition, s, between the medians of what lies near on either side."""
    near = (np.abs(t) > NEAR[0] * half_s) & (np.abs(t) < NEAR[1] * half_s)
    sides = v[near & (t < 0)], v[near & (t > 0)]
    if not (len(sides[0]) and len(sides[1])):
        raise Refusal("a state of the wave holds too few samples")
    low, high = (float(np.median(side)) for side in sides)
    return Edge(
        rising=True,
        middle_s=0.0,
        t=t,
        v=v,
        half_s=half_s,
        until_s=half_s,
        low=low,
        high=high,
        tilted=None,
        misfit=0.0,
        noise=0.0,
        open_fall=0.0,
        open_level=0.0,
    ).duration


def ringing(extremes: list[Extreme]) -> tuple[float, float] | None:
    """Damped frequency and damping ratio of a second-order ringing.

    Parameters
    ----------
    extremes : list of Extreme
        Its turns in order.

    Returns
    -------
    tuple of float, or None
        Hz and ratio. None below two turns, and where they don't fall: what grows or stays is no
        ringing after a step.

    Notes
    -----
    Turns are half a period apart and fall by exp(-pi zeta / sqrt(1 - zeta^2)) each.
    """
    if len(extremes) < 2:
        return None
    times = [one.time_s for one in extremes]
    logs = [math.log(abs(one.volts)) for one in extremes]
    spacing = (times[-1] - times[0]) / (len(times) - 1)
    fall = (logs[0] - logs[-1]) / (len(logs) - 1)
    if fall <= 0:
        return None
    return 1 / (2 * spacing), fall / math.hypot(math.pi, fall)


def cutoff_from_tilt(tilt: float, frequency_hz: float) -> float:
    """Corner of the first-order high-pass that gives a tilt.

    Parameters
    ----------
    tilt : float
        First less last over the mean top, in the steady state 2 tanh(pi fc / 2 f); 0 <= tilt < 2.
    frequency_hz : float
        Of the square wave, Hz.

    Returns
    -------
    float
        Hz.
    """
    return 2 * frequency_hz / math.pi * math.atanh(tilt / 2)
