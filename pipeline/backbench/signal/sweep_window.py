"""The window that keeps the linear response of a sweep, and the noise that comes through it."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.signal.track import Array

Complex = NDArray[np.complex128]

HARMONIC_GAP = (0.3, 0.6)
"""Start of the window before arrival, flat and outer, re the distance to the second harmonic."""
CYCLES_AFTER = 4.0
"""Length after arrival, in cycles of the sweep's lowest frequency: what still rings there."""
LEAST_AFTER_S = 0.2
FLAT_AFTER = 0.6
CELLS = 10.0
"""Half-width, in resolution cells of the window, over which the noise density is averaged."""
LINE_CELLS = 1.5
"""Half-width within which a mains line is looked for."""
LINE_STANDS_OUT = 6.0
"""Power of a line re the mean about it; noise alone reaches it once in 400 cells (exp -6)."""
HALF_WIDTH = 0.06
"""Half-width re the frequency, where that is wider."""
LEAST_HEARD = 0.25
"""Share of the noise window that must lie within the record for the noise to be read from it."""


class Sweep(NamedTuple):
    """What was to be played: start and stop in Hz, duration in s."""

    start_hz: float
    stop_hz: float
    duration_s: float

    @property
    def scale_s(self) -> float:
        """Time in which the frequency rises by a factor of e."""
        return self.duration_s / math.log(self.stop_hz / self.start_hz)


class Record(NamedTuple):
    """Length of the output's record and start of the sweep in what was played, in s."""

    length_s: float
    start_s: float
    rate_hz: float
    sweep: Sweep


class Played(NamedTuple):
    """Density of what was played, at rising frequencies."""

    hz: Array
    density: Array

    def at(self, hz: Array) -> Array:
        """Density at frequencies, held beyond the ends."""
        return np.asarray(np.exp(np.interp(np.log(hz), np.log(self.hz), np.log(self.density))))


class Window(NamedTuple):
    """Place in the impulse response: arrival, samples before it, weights, transform length."""

    arrival: int
    before: int
    weights: Array
    size: int

    def arrival_s(self, rate_hz: float, length: int) -> float:
        """Delay in s; the impulse response is circular, so the second half is negative time."""
        late = self.arrival > length // 2
        return (self.arrival - length if late else self.arrival) / rate_hz

    def cut(self, impulse: Array, later: int = 0) -> Complex:
        """Spectrum of the weighted impulse response, arrival (moved on by `later`) at time 0."""
        from scipy import fft

        start = self.arrival - self.before + later
        piece = np.take(impulse, np.arange(start, start + len(self.weights)), mode="wrap")
        padded = np.zeros(self.size)
        padded[: len(piece)] = piece * self.weights
        return np.asarray(fft.rfft(np.roll(padded, -self.before)))


def window_about(arrival: int, rate_hz: float, sweep: Sweep, length: int) -> Window:
    """Flat about the arrival, raised-cosine flanks; begins after the second harmonic's response."""
    from scipy import fft

    gap = sweep.scale_s * math.log(2) * rate_hz
    flat_before, before = (round(share * gap) for share in HARMONIC_GAP)
    lasting = max(LEAST_AFTER_S, CYCLES_AFTER / sweep.start_hz) * rate_hz
    after = min(round(lasting), length // 4)
    flat_after = round(FLAT_AFTER * after)
    rise, fall = _flank(before - flat_before), _flank(after - flat_after)[::-1]
    weights = np.concatenate([rise, np.ones(flat_before + flat_after), fall])
    return Window(arrival, before, weights, fft.next_fast_len(4 * len(weights), real=True))


def _flank(length: int) -> Array:
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * (np.arange(length) + 0.5) / max(length, 1)))


def noise_of_ratio(
    impulse: Array, window: Window, record: Record, played: Played, at_hz: Array
) -> Array:
    """Standard uncertainty of the ratio's magnitude at the given frequencies.

    Read from the impulse response just after the window, where only what does not follow the
    sweep is left, through the same window, and averaged over neighbouring frequencies. Where
    the record ended before that stretch, the noise density of the nearest lower frequency that
    it covers is taken: noise of an amplifier falls or stays level with frequency.
    Raises Refusal where nothing is left to read the noise from.
    """
    heard = _heard(record, window, len(impulse), at_hz)
    known = heard >= LEAST_HEARD
    if not known.any():
        raise Refusal("the recording ends too soon after the sweep to tell its noise")
    density = _averaged(impulse, window, record.rate_hz, played, at_hz)
    filled = np.where(known, density / np.maximum(heard, LEAST_HEARD), 0.0)
    nearest = np.maximum.accumulate(np.where(known, np.arange(len(at_hz)), 0))
    filled = filled[np.maximum(nearest, int(np.flatnonzero(known)[0]))]
    return np.asarray(np.sqrt(filled / played.at(at_hz) / 2))


def _averaged(
    impulse: Array, window: Window, rate_hz: float, played: Played, at_hz: Array
) -> Array:
    """Mean square of what comes through the window moved on by its own length, as at the output.

    At the output white noise is level, so that the mean is drawn neither up nor down.
    """
    length = len(window.weights)
    cell = rate_hz / window.size
    left: Array = np.square(np.abs(window.cut(impulse, later=length)))
    left[1:] *= played.at(np.arange(1.0, len(left)) * cell)
    resolved = rate_hz / length
    wide = np.maximum(CELLS * resolved, HALF_WIDTH * at_hz)
    mean = _mean(left, cell, at_hz, wide)
    line = _greatest(left, cell, at_hz, LINE_CELLS * resolved)
    return np.where(line > LINE_STANDS_OUT * mean, line, mean)


def _greatest(power: Array, cell: float, at_hz: Array, half: float) -> Array:
    """Greatest of the bins `cell` Hz apart within `half` of each frequency."""
    steps = np.arange(-math.ceil(half / cell), math.ceil(half / cell) + 1)
    nearest = np.rint(at_hz / cell).astype(int)
    return np.asarray(power[np.clip(nearest[:, None] + steps, 1, len(power) - 1)].max(axis=1))


def _mean(power: Array, cell: float, at_hz: Array, half: Array) -> Array:
    """Mean of bins `cell` Hz apart within `half` of each frequency, none below the first."""
    low = np.clip(np.floor((at_hz - half) / cell), at_hz[0] / cell, len(power) - 2).astype(int)
    high = np.clip(np.ceil((at_hz + half) / cell), low + 1, len(power)).astype(int)
    sums = np.concatenate([[0.0], np.cumsum(power)])
    return np.asarray((sums[high] - sums[low]) / (high - low))


def _heard(record: Record, window: Window, impulse: int, at_hz: Array) -> Array:
    """Share of the noise window that the record still covers, at each frequency, 0 to 1."""
    sweep, length = record.sweep, len(window.weights)
    after = length - window.before
    passed = record.start_s + sweep.scale_s * np.log(at_hz / sweep.start_hz)
    begins = passed + window.arrival_s(record.rate_hz, impulse) + after / record.rate_hz
    return np.asarray(np.clip((record.length_s - begins) * record.rate_hz / length, 0, 1))
