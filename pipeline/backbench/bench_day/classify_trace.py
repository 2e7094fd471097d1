"""What an oscilloscope's trace shows, from its samples alone, or what of it can't be told.

Thresholds are common practice, no source, and are held against made traces in the tests.
"""

from __future__ import annotations

import math

import numpy as np

from backbench.errors import Refusal
from backbench.signal.sine_fit import fit_sine
from backbench.signal.track import Array

MOST_SAMPLES = 50_000
"""Looked at: the first ones."""
LEAST_SAMPLES = 32
STEADY_PART = 2.0
"""A mean of more than so many times the swing is that of a supply."""
TWO_LEVELS, NEAR_LEVEL, BETWEEN = 0.75, 0.2, 0.1
"""Share of a square wave's samples that stand near its levels, how near re the swing, and the most
that may stand about the middle."""
OFF, MOST_ON = 0.25, 0.95
"""Between bursts the swing is below this share of that within; bursts fill less of the trace."""
SINE = 0.85
"""Share of the variance that a sine makes up."""
MAINS_HZ = (50.0, 60.0, 100.0, 120.0)
FILL_IN = "FILL IN"
ANY = (
    f"{FILL_IN}: the frequency of its sine; or in place of this square_hz, burst_hz with on_ms and "
    "period_ms, or ripple"
)
SUPPLY = f"{FILL_IN}: the supply whose voltage it is"


def shown_by(time: Array, volts: Array) -> dict[str, object]:
    """The keys of a manifest that say what a trace shows; what can't be told is to be filled in.

    time: rising instants in s. volts: in V.
    """
    time, volts = time[:MOST_SAMPLES], volts[:MOST_SAMPLES]
    low, high = (float(level) for level in np.quantile(volts, (0.01, 0.99)))
    swing = high - low
    if len(time) < LEAST_SAMPLES or swing <= 0 or (np.diff(time) <= 0).any():
        return {"tone_hz": ANY}
    if abs(float(np.mean(volts))) > STEADY_PART * swing:
        return {"ripple": SUPPLY}
    middle = volts - (low + high) / 2
    if _has_two_levels(middle, swing):
        return _square(time, middle, swing)
    return _burst(time, volts, swing) or _sine(time, volts, middle, swing)


def _has_two_levels(middle: Array, swing: float) -> bool:
    away = np.abs(np.abs(middle) / swing - 0.5)
    between = np.abs(middle) < 0.2 * swing
    return float(np.mean(away < NEAR_LEVEL)) > TWO_LEVELS and float(np.mean(between)) < BETWEEN


def _rises(time: Array, middle: Array, swing: float) -> Array:
    """Instants at which a trace passes its middle going up, small wiggles left out."""
    side = np.zeros(len(middle))
    side[middle > 0.15 * swing] = 1
    side[middle < -0.15 * swing] = -1
    at = np.flatnonzero(side)
    up = np.flatnonzero((side[at][:-1] < 0) & (side[at][1:] > 0))
    before, after = at[up], at[up + 1]
    rise = middle[after] - middle[before]
    share = -middle[before] / np.where(rise > 0, rise, 1.0)
    return np.asarray(time[before] + share * (time[after] - time[before]))


def _turns(time: Array, middle: Array, swing: float) -> tuple[Array, Array]:
    """Instants at which a trace passes its middle going up, and going down."""
    return _rises(time, middle, swing), _rises(time, -middle, swing)


def _square(time: Array, middle: Array, swing: float) -> dict[str, object]:
    longest = max(_turns(time, middle, swing), key=len)
    if len(longest) < 2:
        return {"square_hz": f"{FILL_IN}: its frequency, of which the trace holds no period"}
    span = float(longest[-1] - longest[0])
    apart = float(np.median(np.diff(time)))
    return {"square_hz": _set_by_hand((len(longest) - 1) / span, max(0.005, apart / span))}


def _burst(time: Array, volts: Array, swing: float) -> dict[str, object] | None:
    """Bursts and what can be told of their pace; None where the trace holds none."""
    middle = volts - float(np.median(volts))
    rises = _rises(time, middle, swing)
    if len(rises) < 4:
        return None
    period = float(np.median(np.diff(rises)))
    active = time[np.abs(middle) > OFF * swing / 2]
    breaks = np.flatnonzero(np.diff(active) > 1.2 * period)
    starts = np.concatenate([active[:1], active[breaks + 1]])
    ends = np.concatenate([active[breaks], active[-1:]])
    filled = float((ends - starts).sum()) / float(time[-1] - time[0])
    # What lies at an end of the trace may be cut off.
    whole = (starts > time[0] + period) & (ends < time[-1] - period)
    if filled > MOST_ON or not _quiet(time, middle, starts, ends, swing):
        return None
    pace: object = f"{FILL_IN}: ms from one burst to the next, of which the trace holds one"
    if len(starts) > 1:
        pace = _set_by_hand(1e3 * float(np.median(np.diff(starts))), 0.01)
    hz = _set_by_hand(1 / period, 0.005)
    length: object = f"{FILL_IN}: ms of a burst, of which the trace holds none whole"
    if whole.any():
        cycles = round(2 * float(np.median((ends - starts)[whole])) / period + 0.16) / 2
        length = float(f"{1e3 * cycles / hz:.4g}")
    return {"burst_hz": hz, "on_ms": length, "period_ms": pace}


def _quiet(time: Array, middle: Array, starts: Array, ends: Array, swing: float) -> bool:
    """Whether a trace is quiet wherever no burst is."""
    place = np.searchsorted(starts, time, side="right") - 1
    outside = (place < 0) | (time > ends[np.maximum(place, 0)])
    rest = middle[outside]
    return len(rest) >= 4 and bool(np.quantile(np.abs(rest), 0.99) < OFF * swing / 2)


def _sine(time: Array, volts: Array, middle: Array, swing: float) -> dict[str, object]:
    longest = max(_turns(time, middle, swing), key=len)
    if len(longest) < 2:
        return {"tone_hz": ANY}
    try:
        fit = fit_sine(time, volts, 1 / float(np.median(np.diff(longest))), last=1)
    except Refusal:
        return {"tone_hz": ANY}
    if fit.peak**2 / 2 < SINE * fit.variance:
        return {"tone_hz": ANY}
    if any(abs(fit.hz / mains - 1) < 0.02 for mains in MAINS_HZ):
        return {"tone_hz": f"{ANY} of a supply coupled without its mean"}
    return {"tone_hz": _set_by_hand(fit.hz, 0.002)}


def _set_by_hand(value: float, within: float) -> float:
    """The number of the fewest digits, two or more, within a share of the value."""
    for digits in (2, 3, 4):
        near = float(f"{value:.{digits}g}")
        if math.isclose(near, value, rel_tol=within):
            return near
    return float(f"{value:.5g}")
