"""The quasi-peak meter of Rec. ITU-R BS.468-4, clause 2: a follower with an inert needle."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from backbench.signal.track import Array

CHARGE_S, DISCHARGE_S, NEEDLE_S = 1.41e-3, 293e-3, 140e-3
"""Time constants that meet the Recommendation's burst tables (second-hand: an open library's
source; the Recommendation gives the tables, not the constants)."""
BLOCK_S, BEFORE_S = 5e-3, 0.33


def follow(rectified: Array, rate_hz: float, start: float = 0.0) -> Array:
    """Voltage of a capacitor that charges from a rectified signal and discharges slowly.

    rectified: |V|, shape (n,). start: the capacitor's voltage before. The charge depends on the
    voltage reached, so that one sample follows from the last: a loop, but only over samples that
    can charge it; within a block the voltage can't fall below what discharge alone leaves.
    """
    charge = -math.expm1(-1 / (CHARGE_S * rate_hz))
    block = max(int(BLOCK_S * rate_hz), 1)
    keep: list[float] = np.exp(-np.arange(block + 1) / (DISCHARGE_S * rate_hz)).tolist()
    at, held = [-1], [start]
    v, last = start, -1
    for first in range(0, len(rectified), block):
        part = rectified[first : first + block]
        end = first + len(part) - 1
        hits = np.flatnonzero(part > v * keep[end - last])
        for i, x in zip((hits + first).tolist(), part[hits].tolist(), strict=True):
            left = v * keep[i - last]
            if x > left:
                at += (i - 1, i)
                held.append(v * keep[i - 1 - last])
                v, last = left + (x - left) * charge, i
                held.append(v)
        v, last = v * keep[end - last], end
        at.append(end)
        held.append(v)
    return np.interp(np.arange(len(rectified)), at, held)


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
