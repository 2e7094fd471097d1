"""A record with nothing playing averaged down to what hum and a wandering steady part need."""

from __future__ import annotations

from backbench.signal.kept_property import kept_with_it
from backbench.signal.line_course import means_of
from backbench.signal.track import Array, Track

SLOW_RATE_HZ = 8_000.0
"""About how many means there are a second."""


@kept_with_it
def slow_course(track: Track) -> tuple[Array, float]:
    """Means of neighbouring samples, V, and how many there are a second."""
    few = max(int(track.rate_hz / SLOW_RATE_HZ), 1)
    return means_of(track.volts, few), track.rate_hz / few
