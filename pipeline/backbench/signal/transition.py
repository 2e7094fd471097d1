"""A step between two states: levels, transition and what surrounds it (terms of IEEE 181)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from backbench.errors import Refusal
from backbench.signal.track import Array

SETTLED = 0.02
"""Half-width of the band that a step settles into, of its amplitude: common practice, no source."""
STEADY = 0.3
"""Share of a state after which its tilt is read, past most of the ringing."""
LATE = 0.5
"""Share of a state after which its level is read where it is too short for that."""
WHOLE = 0.95
"""Share of a state up to which it is looked at, or up to an edge's duration before the next."""
BENDING = 0.05
"""Tilt, of half the amplitude, from which its curvature is read too."""
LEAST_STATE = 4.4
"""A state must be this many times as long as the edge: by then a step of second order with little
overshoot has passed its first turn and come back to its level."""
NEAR = (0.15, 0.4)
"""Part of the states about an edge that tells its rough amplitude before tilt is known."""
LONG = 30.0
"""A state this many times as long as the edge has settled where its tilt is read: ringing of a
damping ratio of 0.3 has fallen to 3 % of the step by then."""
LEAST_SAMPLES = 8
BINS = 200
LEAST_EXTREME = 0.005
"""An extreme of ringing counts above this share of the amplitude."""
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
    that fit, V. noise: standard deviation of the samples, V.
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

    @property
    def amplitude(self) -> float:
        """High less low state, V."""
        return self.high - self.low

    def crossing(self, share: float) -> float:
        """Instant nearest the half-way one, s, at which the step passes a share of itself."""
        level = self.low + share * self.amplitude
        middle = int(np.searchsorted(self.t, 0.0))
        if share < 0.5:
            below = np.flatnonzero(self.v[:middle] <= level)
            first = int(below[-1]) if len(below) else 0
        else:
            above = np.flatnonzero(self.v[middle:] >= level)
            if not len(above):
                raise Refusal("the step never reaches its own top")
            first = middle + int(above[0]) - 1
        first = min(max(first, 0), len(self.t) - 2)
        rise = self.v[first + 1] - self.v[first]
        part = (level - self.v[first]) / rise if rise else 0.0
        return float(self.t[first] + part * (self.t[first + 1] - self.t[first]))

    @cached_property
    def duration(self) -> float:
        """From 10 % to 90 % of the amplitude, s."""
        return self.crossing(0.9) - self.crossing(0.1)

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
        """From half-way to the last entry into the band about the top, s; inf where it never."""
        t, deviation = self.after
        outside = np.flatnonzero(np.abs(deviation) > band * self.amplitude)
        half_way = self.crossing(0.5)
        if not len(outside):
            return self.crossing(1 - band) - half_way
        last = int(outside[-1])
        return math.inf if last >= len(t) - 2 else float(t[last + 1]) - half_way

    def extremes(self, least: float) -> list[Extreme]:
        """Turns of the ringing in order, as long as each is above `least` (V) and alternates."""
        t, deviation = self.after
        sign = np.sign(deviation)
        changes = np.flatnonzero(sign[1:] * sign[:-1] < 0) + 1
        found: list[Extreme] = []
        for first, last in zip(changes, [*changes[1:], len(t)], strict=True):
            peak = int(first) + int(np.argmax(np.abs(deviation[first:last])))
            if abs(deviation[peak]) < least:
                break
            found.append(Extreme(float(t[peak]), float(deviation[peak])))
        return found


def state_levels(volts: Array) -> tuple[float, float]:
    """Low and high state: modes of the histogram's lower and upper half (IEEE 181, 5.2.1).

    The mode's bin gives the place; the mean of the samples in it and in the bins beside it the
    level, so that it doesn't hang on how the bins happen to lie.
    """
    low, high = float(volts.min()), float(volts.max())
    if low == high:
        raise Refusal("silence: every sample is the same")
    width = (high - low) / BINS
    # One bin more, for the highest value, which lies on the last one's edge.
    counts = np.bincount(((volts - low) / width).astype(int), minlength=BINS + 1)
    counts[BINS - 1] += counts[BINS]
    smooth = np.convolve(counts[:BINS], np.ones(3), "same")
    half = BINS // 2
    places = int(smooth[:half].argmax()), half + int(smooth[half:].argmax())
    bottom, top = (_centre(volts, low + (place + 0.5) * width, width) for place in places)
    return bottom, top


def _centre(volts: Array, level: float, width: float) -> float:
    """Mean of the samples within a bin and a half of itself, from a level near it."""
    for _ in range(10):
        level, before = float(volts[np.abs(volts - level) <= 1.5 * width].mean()), level
        if level == before:
            break
    return level


def read_edge(time: Array, volts: Array, at: float, half_s: float, *, rising: bool) -> Edge:
    """The step about the instant `at`, s. time rising, from one state before to one after it.

    The tilt of both states is fitted in their steady part and taken off, then levels are read
    from the histogram of what remains. Raises Refusal where a state has too few samples.
    """
    near = np.abs(time - at) <= WHOLE * half_s
    t, v = time[near] - at, volts[near] * (1.0 if rising else -1.0)
    duration = _roughly(t, v, half_s)
    until = max(min(WHOLE, 1 - duration / half_s), LATE + 0.1) * half_s
    long = half_s >= LONG * duration
    before = _fitted(t, v, half_s, -half_s, until, tilted=long)
    after = _fitted(t, v, half_s, 0.0, until, tilted=long)
    level = np.where(t < 0, before.at(t) - before.at_edge, after.at(t) - after.at_edge)
    flat = v - level
    low, high = state_levels(flat[np.abs(t) <= until])
    noise = max(before.noise, after.noise)
    edge = Edge(
        rising, at, t, flat, half_s, until, low, high, after.fall if long else None,
        max(before.misfit, after.misfit), noise,
    )  # fmt: skip
    if edge.duration * LEAST_STATE > half_s:
        raise Refusal("the edges are too long beside the states; take a lower frequency")
    return edge


def _roughly(t: Array, v: Array, half_s: float) -> float:
    """Duration of a transition, s, between the medians of what lies near on either side."""
    near = (np.abs(t) > NEAR[0] * half_s) & (np.abs(t) < NEAR[1] * half_s)
    low, high = float(np.median(v[near & (t < 0)])), float(np.median(v[near & (t > 0)]))
    return Edge(True, 0.0, t, v, half_s, half_s, low, high, None, 0.0, 0.0).duration


@dataclass(frozen=True, eq=False)
class _Tilt:
    """A state's slow change, in its own time from 0 to 1. start: s, when the state begins."""

    polynomial: Array
    start: float
    half_s: float
    misfit: float
    noise: float

    def at(self, t: Array) -> Array:
        """The fit at instants, V."""
        place = (t - self.start) / self.half_s
        return np.asarray(np.polyval(self.polynomial, place), dtype=np.float64)

    @property
    def at_edge(self) -> float:
        """The fit where the edge is, at 0 s, V."""
        return float(np.polyval(self.polynomial, -self.start / self.half_s))

    @property
    def fall(self) -> float:
        """First less last value, V."""
        return float(np.polyval(self.polynomial, 0.0) - np.polyval(self.polynomial, 1.0))


def _fitted(
    t: Array, v: Array, half_s: float, start: float, until: float, *, tilted: bool
) -> _Tilt:
    place = (t - start) / half_s
    chosen = (place >= (STEADY if tilted else LATE)) & (place <= until / half_s)
    if np.count_nonzero(chosen) < LEAST_SAMPLES:
        raise Refusal("a state of the wave holds too few samples")
    x, y = place[chosen], v[chosen]
    polynomial = _line(x, y) if tilted else np.array([float(y.mean())])
    if tilted and abs(polynomial[0]) > BENDING * abs(float(v.max() - v.min())) / 2:
        polynomial = np.asarray(np.polyfit(x, y, 2), dtype=np.float64)
    rest: Array = np.asarray(y - np.polyval(polynomial, x), dtype=np.float64)
    # Neighbours' differences hold the noise of single samples, not what rings or bends.
    noise = float(np.sqrt(np.mean(np.diff(rest) ** 2) / 2))
    return _Tilt(polynomial, start, half_s, float(np.sqrt(np.mean(rest**2))), noise)


def _line(x: Array, y: Array) -> Array:
    """Slope and level at 0 of the straight line of least squares."""
    away = x - x.mean()
    slope = float((away * y).sum() / (away * away).sum())
    return np.array([slope, float(y.mean()) - slope * float(x.mean())])


def ringing(extremes: list[Extreme]) -> tuple[float, float] | None:
    """Damped frequency, Hz, and damping ratio of a second-order ringing; None below two turns.

    Turns are half a period apart and fall by exp(-pi zeta / sqrt(1 - zeta^2)) each.
    """
    if len(extremes) < 2:
        return None
    times = [one.time_s for one in extremes]
    logs = [math.log(abs(one.volts)) for one in extremes]
    spacing = (times[-1] - times[0]) / (len(times) - 1)
    fall = (logs[0] - logs[-1]) / (len(logs) - 1)
    return 1 / (2 * spacing), fall / math.hypot(math.pi, fall)


def cutoff_from_tilt(tilt: float, frequency_hz: float) -> float:
    """Corner of the first-order high-pass that gives a tilt, Hz.

    tilt: first less last over the mean top, in the steady state 2 tanh(pi fc / 2 f); 0 <= tilt < 2.
    """
    return 2 * frequency_hz / math.pi * math.atanh(tilt / 2)
