"""A capacitor that charges quickly from a rectified signal and discharges slowly.

The detector of the quasi-peak meter of Rec. ITU-R BS.468-4, clause 2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from backbench.signal.kept_property import kept_property
from backbench.signal.track import Array

SampleIndices = NDArray[np.intp]
LevelWeights = tuple[Array, Array]

OF_THE_METER = (1.41e-3, 293e-3)
"""Time constants of charge and discharge, s, that meet the Recommendation's burst tables
(second-hand: an open library's source; the Recommendation gives the tables, not the constants)."""
BLOCK_S = 0.6
"""Stretches that are followed at once: a power of what is left after each must stay a number, which
it does up to 1 s."""
FIRST_BLOCK_S = 0.02
"""The first stretch: short, as a start from below tells little of which samples charge."""
LOWER = 1 - 1e-9
"""A sample below this share of the lowest voltage doesn't charge, however that was rounded."""


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
    return charged(rectified, rate_hz, start, times=times).voltage()


@dataclass(frozen=True, eq=False)
class HeldLevels:
    """A capacitor over some samples.

    Parameters
    ----------
    samples : int
        How many.
    levels : ndarray of float64, shape (k + 1,)
        Its voltages re what is left of them since the first sample, before the first and after each
        of those samples that charge it, V.
    places : ndarray of int, shape (k,)
        Which samples these are, rising.
    """

    samples: int
    levels: Array
    places: SampleIndices

    @kept_property
    def edges(self) -> SampleIndices:
        """First sample of each level, and the one after the last."""
        edges: SampleIndices = np.empty(len(self.places) + 2, dtype=np.intp)
        edges[0], edges[-1] = 0, self.samples
        edges[1:-1] = self.places
        return edges


@dataclass
class HeldVoltage:
    """A capacitor's voltage all along a record.

    Parameters
    ----------
    stretches : list of HeldLevels
        In the order of time, one at least.
    rate_hz : float
        Sample rate, Hz.
    times : tuple of float
        Time constants of charge and discharge, s.
    """

    stretches: list[HeldLevels]
    rate_hz: float
    times: tuple[float, float] = OF_THE_METER

    @property
    def last(self) -> float:
        """The voltage after the last sample."""
        return self.at_end(self.stretches[-1])

    def at_end(self, stretch: HeldLevels) -> float:
        """The voltage after one of the stretches.

        Parameters
        ----------
        stretch : HeldLevels
            One of them.

        Returns
        -------
        float
            V.
        """
        return float(stretch.levels[-1] * self._fall[stretch.samples - 1])

    @property
    def _fall(self) -> Array:
        return level_weights(longest_stretch(self.rate_hz), self.times[1] * self.rate_hz)[0]

    def voltage(self) -> Array:
        """The voltage after each sample.

        Returns
        -------
        ndarray of float64, shape (n,)
            V.
        """
        each = [
            np.repeat(s.levels, np.diff(s.edges)) * self._fall[: s.samples] for s in self.stretches
        ]
        return np.concatenate(each)


def charged(
    rectified: Array,
    rate_hz: float,
    start: float,
    *,
    times: tuple[float, float] = OF_THE_METER,
) -> HeldVoltage:
    """As follow, the course as levels.

    Parameters
    ----------
    rectified : ndarray of float64, shape (n,)
        Magnitude of the signal, V, >= 0; n >= 1.
    rate_hz : float
        Sample rate, Hz.
    start : float
        The capacitor's voltage before, V.
    times : tuple of float, optional
        Time constants of charge and discharge, s; those of the meter unless given.

    Returns
    -------
    HeldVoltage
    """
    course = HeldVoltage([], rate_hz, times)
    for first, stop in stretches_of(len(rectified), rate_hz):
        course.stretches.append(charge_stretch(rectified[first:stop], rate_hz, start, times))
        start = course.last
    return course


def longest_stretch(rate_hz: float) -> int:
    """Samples that are followed at once, at most.

    Parameters
    ----------
    rate_hz : float
        Sample rate, Hz.

    Returns
    -------
    int
        At least 1.
    """
    return max(int(BLOCK_S * rate_hz), int(FIRST_BLOCK_S * rate_hz), 1)


def stretches_of(count: int, rate_hz: float) -> list[tuple[int, int]]:
    """First sample of each stretch that is followed at once, and the one after its last.

    Parameters
    ----------
    count : int
        Samples of the record, >= 1.
    rate_hz : float
        Sample rate, Hz.

    Returns
    -------
    list of (int, int)
    """
    block = longest_stretch(rate_hz)
    edges = [0, *range(max(int(FIRST_BLOCK_S * rate_hz), 1), count, block), count]
    return list(pairwise(edges))


def charge_stretch(
    part: Array,
    rate_hz: float,
    start: float,
    times: tuple[float, float],
    likely: SampleIndices | None = None,
) -> HeldLevels:
    """Follow a stretch.

    Parameters
    ----------
    part : ndarray of float64, shape (n,)
        Magnitude of the signal, V, >= 0; no longer than longest_stretch.
    rate_hz : float
        Sample rate, Hz.
    start : float
        The capacitor's voltage before, V.
    times : tuple of float
        Time constants of charge and discharge, s.
    likely : ndarray of int, optional
        Samples of which alone any can charge the capacitor; found where not given.

    Returns
    -------
    HeldLevels
    """
    weights = level_weights(longest_stretch(rate_hz), times[0] * rate_hz)
    fall = level_weights(longest_stretch(rate_hz), times[1] * rate_hz)[0][: len(part)]
    if likely is None:
        likely = _likely(part, fall, start, weights)
    return HeldLevels(len(part), *_charged(part, fall, likely, start, weights))


def _likely(part: Array, fall: Array, start: float, weights: LevelWeights) -> SampleIndices:
    """Samples of which alone any can charge the capacitor; see _charged."""
    places = np.flatnonzero(part > start)
    levels = _levels(part[places] / fall[places], start, weights)
    # Between samples that charge it the voltage falls: it is lowest just before the next.
    lowest = float((levels * fall[np.append(places, len(part) - 1)]).min())
    likely = np.flatnonzero(part > LOWER * lowest)
    volts = part[likely]
    if LOWER * lowest <= start:
        # All places are among them: how many come before each is a matter of counting.
        over = volts > start
        passed: SampleIndices = np.cumsum(over) - over
    else:
        passed = np.searchsorted(places, likely)
    return np.asarray(likely[volts / fall[likely] > levels[passed]])


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
        charging = np.flatnonzero(volts > levels[:-1])
        if len(charging) == len(likely):
            return levels, likely
        likely, volts = likely[charging], volts[charging]


def _levels(volts: Array, start: float, weights: LevelWeights) -> Array:
    """Voltages before the first and after each of some samples that all move a level.

    Each leaves a share k of the voltage: v_n = k^n (start + sum of (1 - k) volts_i / k^i).
    """
    left, gained = (weight[: len(volts)] for weight in weights)
    levels: Array = np.empty(len(volts) + 1)
    levels[0] = start
    charge = np.multiply(volts, gained, out=levels[1:])
    np.cumsum(charge, out=charge)
    charge += start
    charge *= left
    return levels


@lru_cache(maxsize=8)
def level_weights(count: int, samples: float) -> LevelWeights:
    """What is left of a decaying value sample by sample, and what one gained there is worth.

    Parameters
    ----------
    count : int
        How many samples.
    samples : float
        Time constant of the decay, samples.

    Returns
    -------
    left, gained : ndarray of float64, shape (count,)
        k^n and (1 - k) / k^n for n from 1 to count, k what is left after a sample; read only.
    """
    left = np.exp(-np.arange(1, count + 1) / samples)
    gained = -math.expm1(-1 / samples) / left
    left.setflags(write=False)
    gained.setflags(write=False)
    return left, gained


@lru_cache(maxsize=8)
def sums_of_fall(count: int, rate_hz: float, fall_s: float, lag_s: float) -> Array:
    """Sums of what a lag gains of a voltage that falls.

    Parameters
    ----------
    count : int
        How many samples.
    rate_hz : float
        Sample rate, Hz.
    fall_s : float
        Time constant of the fall, s.
    lag_s : float
        Time constant of the lag, s.

    Returns
    -------
    ndarray of float64, shape (count + 1,)
        Over none to all of the samples; read only.
    """
    falls = level_weights(count, fall_s * rate_hz)[0]
    gained = falls * level_weights(count, lag_s * rate_hz)[1]
    sums = np.concatenate([[0.0], np.cumsum(gained)])
    sums.setflags(write=False)
    return sums
