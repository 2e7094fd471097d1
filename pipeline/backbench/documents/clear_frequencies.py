"""Round test frequencies, and the ones clear of the mains that are played in their place.

Harmonics and products of the trade's round frequencies fall on multiples of 50 or 60 Hz, where hum
can't be told from distortion. Each frequency here is the nearest whose harmonics, the lowest first,
or whose products stay clear of both for a mains frequency up to 0.2 % off, in a record of some
seconds. 997 Hz is the test frequency of AES17; the others were searched for.
"""

from __future__ import annotations

from collections.abc import Sequence

CLEAR_HZ = {20.0: 23.0, 1000.0: 997.0}
"""By the round frequency, Hz."""
CLEAR_PAIRS_HZ = {(60.0, 7000.0): (66.0, 7050.0), (19_000.0, 20_000.0): (19_000.0, 19_993.0)}
"""By the round pair, Hz."""
WITHIN = 0.01
"""Relative distance from a round frequency at which a tone is taken as of it."""
CLOCKS = 0.002
"""Relative distance of a generator's frequency from the one that was set."""


def clear_hz(round_hz: float) -> float:
    """The frequency to play for a round one, Hz: itself where there is no clearer one."""
    return CLEAR_HZ.get(round_hz, round_hz)


def round_hz(played_hz: float) -> float:
    """The round frequency that a played one stands for, Hz: itself where it stands for none."""
    return next((hz for hz, played in CLEAR_HZ.items() if played == played_hz), played_hz)


def round_pair_hz(played_hz: Sequence[float]) -> tuple[float, ...]:
    """The round pair that a played one stands for, Hz: itself where it stands for none."""
    played = tuple(played_hz)
    return next((pair for pair, clear in CLEAR_PAIRS_HZ.items() if clear == played), played)


def standing_for(round_hz: float) -> tuple[float, float]:
    """Least and greatest frequency, Hz, that stands at the test point of a round one."""
    played = clear_hz(round_hz)
    least = min(round_hz * (1 - WITHIN), played * (1 - CLOCKS))
    return least, max(round_hz * (1 + WITHIN), played * (1 + CLOCKS))
