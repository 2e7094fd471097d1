"""The quasi-peak meter of Rec. ITU-R BS.468-4, clause 2: a follower with an inert needle."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from backbench.signal.track import Array

SampleIndices = NDArray[np.intp]
LevelWeights = tuple[Array, Array]

CHARGE_S, DISCHARGE_S, NEEDLE_S = 1.41e-3, 293e-3, 140e-3
"""Time constants that meet the Recommendation's burst tables (second-hand: an open library's
source; the Recommendation gives the tables, not the constants)."""
OF_THE_METER = (CHARGE_S, DISCHARGE_S)
BLOCK_S, BEFORE_S = 0.3, 1.5
"""Stretches that are followed at once (a power of what is left after each must stay a number),
and the part of a record that is played before it: five of the meter's longest time constant."""
FIRST_BLOCK_S = 0.02
"""The first stretch: short, as a start from below tells little of which samples charge."""
NEEDLE_EVERY = 16
"""Samples between two places of the needle that are reckoned: it lags by thousands of them."""
SETTLED = 1e-9
"""Relative difference of two starts' voltages below which they go on as one."""
LOWER = 1 - 1e-9
"""A sample below this share of the lowest voltage doesn't charge, however that was rounded."""
HIGHEST_EVERY_S, LEAST_BLOCKS = 0.5, 4


def follow(
    rectified: Array, rate_hz: float, start: float = 0.0, times: tuple[float, float] = OF_THE_METER
) -> Array:
    """Voltage of a capacitor that charges from a rectified signal and discharges slowly.

    Parameters
    ----------
    rectified : ndarray of float64, shape (n,)
        Magnitude of the signal, V, >= 0; n >= 1.
    rate_hz : float
        Sample rate, Hz.
    start : float, optional
        The capacitor's voltage before, V.
    times : tuple of float, optional
        Time constants of charge and discharge, s; those of the meter unless given.

    Returns
    -------
    ndarray of float64, shape (n,)
        V.

    Notes
    -----
    Sample by sample the voltage v falls to k v, then rises by a share of what the sample is above
    that.

    References
    ----------
    Rec. ITU-R BS.468-4, clause 2 (time constants second-hand: an open library's source).
    """
    return _followed(rectified, rate_hz, start, times=times)[0]


def _followed(
    rectified: Array,
    rate_hz: float,
    start: float,
    among: Sequence[SampleIndices] = (),
    *,
    times: tuple[float, float] = OF_THE_METER,
) -> tuple[Array, list[SampleIndices]]:
    """As follow, and the samples that charge the capacitor, by block.

    among: samples by block of which alone any can charge it; all where none are given.
    """
    course, charging = np.empty(len(rectified)), []
    for n, (first, stop) in enumerate(_blocks(len(rectified), rate_hz)):
        part, held = rectified[first:stop], course[first:stop]
        likely = among[n] if among else None
        charging.append(_follow_block(part, held, rate_hz, start, likely, times))
        start = float(held[-1])
    return course, charging


def _blocks(count: int, rate_hz: float) -> list[tuple[int, int]]:
    """First sample of each stretch that is followed at once, and the one after its last."""
    block = max(int(BLOCK_S * rate_hz), 1)
    edges = [0, *range(max(int(FIRST_BLOCK_S * rate_hz), 1), count, block), count]
    return list(pairwise(edges))


def _follow_block(
    part: Array,
    held: Array,
    rate_hz: float,
    start: float,
    likely: SampleIndices | None = None,
    times: tuple[float, float] = OF_THE_METER,
) -> SampleIndices:
    """Put the capacitor's course over a stretch into `held`; the samples that charge it."""
    block = max(int(BLOCK_S * rate_hz), len(part))
    weights = _level_weights(block, times[0] * rate_hz)
    fall = _level_weights(block, times[1] * rate_hz)[0][: len(part)]
    if likely is None:
        likely = _likely(part, fall, start, weights)
    levels, places = _charged(part, fall, likely, start, weights)
    np.multiply(_spread(levels, places, len(part)), fall, out=held)
    return places


def _once_more(
    rectified: Array,
    rate_hz: float,
    course: Array,
    charging: Sequence[SampleIndices],
    begun: float,
) -> None:
    """Follow a record anew from where its course ended, until that goes on as it did before.

    course: of the record from the voltage `begun`, which is written over. charging: samples that
    charged the capacitor in it, by block.
    """
    start = float(course[-1])
    # From a higher start the voltage is higher all along: what didn't charge it doesn't now.
    higher = start >= begun
    for (first, stop), places in zip(_blocks(len(course), rate_hz), charging, strict=True):
        held, before = course[first:stop], float(course[stop - 1])
        _follow_block(rectified[first:stop], held, rate_hz, start, places if higher else None)
        start = float(held[-1])
        if abs(start - before) <= SETTLED * before:
            return


def _likely(part: Array, fall: Array, start: float, weights: LevelWeights) -> SampleIndices:
    """Samples of which alone any can charge the capacitor; see _charged."""
    places = np.flatnonzero(part > start)
    levels = _levels(part[places] / fall[places], start, weights)
    # Between samples that charge it the voltage falls: it is lowest just before the next.
    lowest = float((levels * fall[np.append(places, len(part) - 1)]).min())
    likely = np.flatnonzero(part > LOWER * lowest)
    above = part[likely] / fall[likely] > levels[np.searchsorted(places, likely)]
    return np.asarray(likely[above])


def _charged(
    part: Array, fall: Array, likely: SampleIndices, start: float, weights: LevelWeights
) -> tuple[Array, SampleIndices]:
    """Voltages, re what is left of them at that time, before the first and after each of the
    samples that charge the capacitor, and the places of these.

    fall: what is left of a voltage at each sample. likely: those that may charge it. Whichever
    samples are taken to charge it, the voltage comes out too low if anything, so that what is below
    it even then never charges: such samples are left out until there are none.
    """
    volts = part[likely] / fall[likely]
    while True:
        levels = _levels(volts, start, weights)
        charging = volts > levels[:-1]
        if charging.all():
            return levels, likely
        likely, volts = likely[charging], volts[charging]


def _levels(volts: Array, start: float, weights: LevelWeights) -> Array:
    """Voltages before the first and after each of some samples that all move a level.

    Each leaves a share k of the voltage: v_n = k^n (start + sum of (1 - k) volts_i / k^i).
    """
    left, gained = (weight[: len(volts)] for weight in weights)
    charge = np.cumsum(volts * gained)
    charge += start
    charge *= left
    return np.concatenate([[start], charge])


def _spread(levels: Array, places: SampleIndices, count: int) -> Array:
    """The level after each of `count` samples, where it changes at places only."""
    return np.repeat(levels, np.diff(places, prepend=0, append=count))


@lru_cache(maxsize=8)
def _level_weights(count: int, samples: float) -> LevelWeights:
    """k^n and (1 - k) / k^n for n from 1 to count: k is left after a sample of a decay whose
    time constant is `samples`."""
    left = np.exp(-np.arange(1, count + 1) / samples)
    gained = -math.expm1(-1 / samples) / left
    left.setflags(write=False)
    gained.setflags(write=False)
    return left, gained


def needle(held: Array, rate_hz: float, start: float = 0.0) -> Array:
    """Where the meter's needle stands from time to time: the voltage behind a lag of 140 ms.

    Parameters
    ----------
    held : ndarray of float64, shape (n,)
        The capacitor's voltage, V.
    rate_hz : float
        Sample rate, Hz.
    start : float, optional
        Where the needle stands before, V.

    Returns
    -------
    ndarray of float64, shape (m,)
        V, after every 16th sample and after the last.

    References
    ----------
    Rec. ITU-R BS.468-4, clause 2; see follow.
    """
    block = NEEDLE_EVERY * max(int(BLOCK_S * rate_hz / NEEDLE_EVERY), 1)
    left, gained = _level_weights(block, NEEDLE_S * rate_hz)
    shown = []
    for first in range(0, len(held), block):
        part = held[first : first + block]
        places = np.arange(0, len(part), NEEDLE_EVERY)
        own = np.add.reduceat(part * gained[: len(part)], places)
        own[0] += start
        ends = np.minimum(places + NEEDLE_EVERY, len(part)) - 1
        shown.append(np.cumsum(own) * left[ends])
        start = float(shown[-1][-1])
    return np.concatenate(shown)


@lru_cache(maxsize=8)
def of_sine(rate_hz: float) -> float:
    """Needle for a steady sine of 1 V rms: by its inverse the meter reads the rms of a sine.

    Parameters
    ----------
    rate_hz : float
        Sample rate, Hz.

    Returns
    -------
    float
        V, at 1 kHz.
    """
    hz = 1000.0
    t = np.arange(round(0.2 * rate_hz)) / rate_hz
    sine = math.sqrt(2) * np.abs(np.sin(2 * np.pi * hz * t + 0.1))
    settled = follow(sine, rate_hz, start=1.0)
    return float(settled[len(settled) // 2 :].mean())


def needle_course(rectified: Array, rate_hz: float) -> tuple[Array, float]:
    """Where the needle stands all along a record, from time to time.

    Parameters
    ----------
    rectified : ndarray of float64, shape (n,)
        Magnitude of the signal, >= 0.
    rate_hz : float
        Sample rate, Hz.

    Returns
    -------
    course : ndarray of float64, shape (m,)
        In the unit of `rectified`.
    course_rate_hz : float
        Places a second.

    Notes
    -----
    The record's end is played once before it, so that the meter has settled and the record reads
    the same wherever in it the capture began.

    References
    ----------
    Rec. ITU-R BS.468-4, clause 2; see follow.
    """
    before = rectified[-round(BEFORE_S * rate_hz) :]
    mean = float(rectified.mean())
    held, charging = _followed(before, rate_hz, mean)
    shown = float(needle(held, rate_hz, float(held.mean()))[-1])
    if len(before) == len(rectified):
        _once_more(rectified, rate_hz, held, charging, mean)
    else:
        held = _followed(rectified, rate_hz, float(held[-1]))[0]
    return needle(held, rate_hz, shown), rate_hz / NEEDLE_EVERY


def highest(course: Array, rate_hz: float) -> tuple[float, float, int]:
    """Highest place of the needle, its standard uncertainty, and its degrees of freedom.

    Parameters
    ----------
    course : ndarray of float64, shape (n,)
        Where the needle stands, n >= 4.
    rate_hz : float
        Sample rate, Hz.

    Returns
    -------
    value : float
        In the unit of the course.
    u : float
        Standard uncertainty, in the same unit.
    dof : int
        Degrees of freedom, >= 3.

    Notes
    -----
    From the highest place in each segment of half a second, at least four of them: what comes
    again and again reads alike in each, and what came once may come stronger another time.
    """
    blocks = max(LEAST_BLOCKS, int(len(course) / (HIGHEST_EVERY_S * rate_hz)))
    length = len(course) // blocks
    each = course[: blocks * length].reshape(blocks, length).max(axis=1)
    return float(course.max()), float(each.std(ddof=1)), blocks - 1


def block_error(course: Array, rate_hz: float, block_s: float = 0.1) -> tuple[float, int]:
    """Standard uncertainty of the mean of a fluctuating course, and its degrees of freedom.

    Parameters
    ----------
    course : ndarray of float64, shape (n,)
        In any unit, n >= 4.
    rate_hz : float
        Sample rate, Hz.
    block_s : float, optional
        Duration of a block, s, long enough for blocks to be independent of each other.

    Returns
    -------
    u : float
        In the unit of the course.
    dof : int
        Degrees of freedom: blocks, at least four, less one.
    """
    blocks = max(4, int(len(course) / (block_s * rate_hz)))
    length = len(course) // blocks
    means = course[: blocks * length].reshape(blocks, length).mean(axis=1)
    return float(means.std(ddof=1)) / math.sqrt(blocks), blocks - 1
