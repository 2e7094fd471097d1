"""The edges of a square wave, in a period that repeats or in a trace."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.edge import Edge
from backbench.signal.track import Array
from backbench.signal.transition import read_edge, state_levels

SPACING_WITHIN = 0.05
WHOLE = 0.97
"""Share of a state before and after an edge that a trace must hold."""
CLEARLY = 0.25
"""Share of the amplitude by which a state is left before it counts as left."""


def edges_of_period(time: Array, volts: Array) -> list[Edge]:
    """One upward and one downward edge of a repeating period that starts with the upward one.

    Parameters
    ----------
    time : ndarray of float64, shape (n,)
        Evenly spaced instants of one period, s.
    volts : ndarray of float64, shape (n,)
        V.

    Returns
    -------
    list of Edge
        The upward edge, then the downward one.

    Raises
    ------
    Refusal
        Where every sample is the same, the wave doesn't change its state once in half a period, or
        an edge can't be read (see read_edge).
    """
    n = len(time)
    period = float(n * (time[1] - time[0]))
    doubled = np.concatenate([time, time + period])
    twice = np.tile(volts, 2)
    crossings = _crossings(doubled, twice, state_levels(volts))
    wanted = []
    for rising, about in ((True, period), (False, period / 2 + period)):
        near = [at for at, up in crossings if up == rising and abs(at - about) < period / 8]
        if not near:
            raise Refusal("not a square wave: it doesn't change its state once in half a period")
        wanted.append((near[0], rising))
    # An edge needs a state's length after it, which the second one lacks without a third period.
    longer, thrice = np.concatenate([doubled, time + 2 * period]), np.tile(volts, 3)
    return [read_edge(longer, thrice, at, period / 2, rising=up) for at, up in wanted]


def edges_of_trace(time: Array, volts: Array, half_s: float) -> list[Edge]:
    """Every edge of a trace that has a whole state before and after it.

    Parameters
    ----------
    time : ndarray of float64, shape (n,)
        Rising instants, s.
    volts : ndarray of float64, shape (n,)
        V.
    half_s : float
        Half the period, s, > 0.

    Returns
    -------
    list of Edge
        At least one, in time order.

    Raises
    ------
    Refusal
        Where every sample is the same, no edge has a whole state before and after it, the edges are
        not half a period apart within 5 %, or an edge can't be read (see read_edge).
    """
    crossings = _crossings(time, volts, state_levels(volts))
    for (one, _), (next_one, _) in pairwise(crossings):
        if abs((next_one - one) / half_s - 1) > SPACING_WITHIN:
            raise Refusal(
                f"edges {in_text(next_one - one, 's', 4)} apart, where half a period of the "
                f"stated square wave is {in_text(half_s, 's', 4)}"
            )
    inside = [
        (at, rising)
        for at, rising in crossings
        if at - WHOLE * half_s >= time[0] and at + WHOLE * half_s <= time[-1]
    ]
    if not inside:
        raise Refusal("no edge with a whole state before and after it; record a period or more")
    return [read_edge(time, volts, at, half_s, rising=rising) for at, rising in inside]


def _crossings(time: Array, volts: Array, levels: tuple[float, float]) -> list[tuple[float, bool]]:
    """Instants at which the wave passes its middle between two states, and whether upwards."""
    low, high = levels
    middle, reach = (low + high) / 2, CLEARLY * (high - low)
    is_high = volts > middle + reach
    known = np.flatnonzero(is_high | (volts < middle - reach))
    states = is_high[known]
    changes = np.flatnonzero(states[1:] != states[:-1])
    crossings = []
    for change in changes:
        first, last = int(known[change]), int(known[change + 1])
        rising = bool(is_high[last])
        beyond = volts[first : last + 1] > middle if rising else volts[first : last + 1] < middle
        after = first + int(np.argmax(beyond))
        step = volts[after] - volts[after - 1]
        part = (middle - volts[after - 1]) / step if step else 0.0
        crossings.append((float(time[after - 1] + part * (time[after] - time[after - 1])), rising))
    return crossings
