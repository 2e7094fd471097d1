"""A step between two states: levels, transition and what surrounds it (terms of IEEE 181)."""

from __future__ import annotations

import math

import numpy as np

from backbench.errors import Refusal
from backbench.signal.edge import Edge, Extreme
from backbench.signal.quantiles import middle
from backbench.signal.state_fit import LATE, fit_state
from backbench.signal.track import Array

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
    # Where rounding decides about the first and the last sample, the distance itself does.
    about = slice(*np.searchsorted(time, [at - half_s, at + half_s]))
    t = time[about] - at
    near = slice(*_ends(t, -WHOLE * half_s, WHOLE * half_s))
    t, v = t[near], volts[about][near] * (1.0 if rising else -1.0)
    duration = _roughly(t, v, half_s)
    until = max(min(WHOLE, 1 - duration / half_s), LATE + 0.1) * half_s
    long = half_s >= LONG * duration
    before = fit_state(t, v, half_s, -half_s, until, tilted=long)
    after = fit_state(t, v, half_s, 0.0, until, tilted=long)
    level, middle_at = np.empty(len(t)), int(t.searchsorted(0.0))
    level[:middle_at] = before.at(t[:middle_at]) - before.at_edge
    level[middle_at:] = after.at(t[middle_at:]) - after.at_edge
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


def _ends(rising: Array, low: float, high: float) -> tuple[int, int]:
    """The first value within low to high, and the one after the last."""
    return int(rising.searchsorted(low)), int(rising.searchsorted(high, "right"))


def _roughly(t: Array, v: Array, half_s: float) -> float:
    """Duration of a transition, s, between the medians of what lies near on either side."""
    inner, outer = (share * half_s for share in NEAR)
    sides = (
        v[t.searchsorted(-outer, "right") : t.searchsorted(-inner)],
        v[t.searchsorted(inner, "right") : t.searchsorted(outer)],
    )
    if not (len(sides[0]) and len(sides[1])):
        raise Refusal("a state of the wave holds too few samples")
    low, high = (float(middle(side)) for side in sides)
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
