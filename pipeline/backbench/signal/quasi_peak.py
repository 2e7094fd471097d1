"""The quasi-peak meter of Rec. ITU-R BS.468-4, clause 2: a follower with an inert needle."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from backbench.signal.track import Array

CHARGE_S, DISCHARGE_S, NEEDLE_S = 1.41e-3, 293e-3, 140e-3
"""Time constants that meet the Recommendation's burst tables (second-hand: an open library's
source; the Recommendation gives the tables, not the constants)."""
BLOCK_S, BEFORE_S = 0.1, 0.33
"""Stretches that are followed at once (a power of what is left after each must stay a number),
and the part of a record that is played before it."""


def follow(rectified: Array, rate_hz: float, start: float = 0.0) -> Array:
    """Voltage of a capacitor that charges from a rectified signal and discharges slowly.

    rectified: |V|, shape (n,). start: the capacitor's voltage before. Sample by sample the
    voltage v falls to k v, then rises by a share of what the sample is above that.
    """
    block = max(int(BLOCK_S * rate_hz), 1)
    course = np.empty(len(rectified))
    for first in range(0, len(rectified), block):
        part, held = rectified[first : first + block], course[first : first + block]
        fall = _fall(block, DISCHARGE_S * rate_hz)[: len(part)]
        np.multiply(_charged(part / fall, start, rate_hz), fall, out=held)
        start = float(held[-1])
    return course


def _charged(given: Array, start: float, rate_hz: float) -> Array:
    """Voltage after each sample of a capacitor that keeps its charge: it never falls.

    Samples at or below the voltage leave it as it is. If all that are left are taken to charge
    it, the voltage comes out too low if anything, so that what is below it even then never
    charged: it is left out, until none is.
    """
    left = _fall(len(given), CHARGE_S * rate_hz)
    share = -math.expm1(-1 / (CHARGE_S * rate_hz))
    places = np.flatnonzero(given > start)
    while True:
        volts, kept = given[places], left[: len(places)]
        after = kept * (start + np.cumsum(volts * share / kept))
        levels = np.concatenate([[start], after])
        charging = volts > levels[:-1]
        if charging.all():
            return np.repeat(levels, np.diff(places, prepend=0, append=len(given)))
        places = places[charging]


@lru_cache(maxsize=16)
def _fall(count: int, samples: float) -> Array:
    """What is left after 1 to count samples of a decay with a time constant in samples."""
    left: Array = np.exp(-np.arange(1, count + 1) / samples)
    left.setflags(write=False)
    return left


def needle(held: Array, rate_hz: float, start: float = 0.0) -> Array:
    """Where the meter's needle stands: the capacitor's voltage behind a lag of 140 ms."""
    from scipy.signal import lfilter

    keep = math.exp(-1 / (NEEDLE_S * rate_hz))
    shown: Array = lfilter([1 - keep], [1, -keep], held, zi=[keep * start])[0]
    return shown


@lru_cache(maxsize=8)
def of_sine(rate_hz: float) -> float:
    """Needle for a steady sine of 1 V rms: by its inverse the meter reads the rms of a sine."""
    hz = 1000.0
    t = np.arange(round(0.2 * rate_hz)) / rate_hz
    sine = math.sqrt(2) * np.abs(np.sin(2 * np.pi * hz * t + 0.1))
    settled = follow(sine, rate_hz, start=1.0)
    return float(settled[len(settled) // 2 :].mean())


def steady_reading(wave: Array, rate_hz: float) -> tuple[float, Array]:
    """What the meter shows of a steady signal on average, V, and the course of it.

    The record's first third of a second is played once before, so that the capacitor is
    charged. The needle's lag leaves the average as it is.
    """
    rectified = np.abs(wave)
    first = rectified[: round(BEFORE_S * rate_hz)]
    before = follow(first, rate_hz, start=float(rectified.mean()))[-1]
    held = follow(rectified, rate_hz, start=float(before)) / of_sine(round(rate_hz))
    return float(held.mean()), held


def block_error(course: Array, rate_hz: float, block_s: float = 0.1) -> tuple[float, int]:
    """Standard uncertainty of the mean of a fluctuating course, and its degrees of freedom.

    From the means of blocks, at least four, long enough to be independent of each other.
    """
    blocks = max(4, int(len(course) / (block_s * rate_hz)))
    length = len(course) // blocks
    means = course[: blocks * length].reshape(blocks, length).mean(axis=1)
    return float(means.std(ddof=1)) / math.sqrt(blocks), blocks - 1
