"""What a sweep's response has before its arrival, by bands: a change while the sweep passed.

A system answers after it was driven, and its harmonics stand well before: a change at a frequency
leaves a part between the two, periods before the arrival.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from backbench.signal.power import squared
from backbench.signal.sweep_deconvolved import FIRST, Deconvolved, upper_taper
from backbench.signal.sweep_excitation import POINTS_PER_OCTAVE, PlayedSweep
from backbench.signal.sweep_window import HARMONIC_GAP, Complex, around, flank
from backbench.signal.track import Array

LOW_TO_HZ, LOW_BAND_HZ = 500.0, 1500.0
"""Bands that begin below this are looked at in a response of this band alone."""
HIGHEST = 0.68
"""Up to this share of the highest frequency of the response, beyond which converters ring early."""
EARLY_PERIODS, HIGH_PERIODS = (1.0, 12.0), (2.5, 30.0)
"""It is looked for so many periods before the arrival, at most to the second harmonic's part; in
the higher bands farther from it, where clocks that differ move the arrival by a period."""
HALF_OCTAVES = 1.5
"""Octaves from the lowest that are looked at by halves: periods are few there."""
LEAST_STRETCH = 1.25
"""Longest re shortest time before the arrival."""
FLUTTERING_BANDS, MOST_FLUTTER = 3, 3.0
"""Highest bands in which flutter leaves an early part, and its greatest in the first high one re
the limit: a delay that swings by 15 microseconds."""
RISING = (1.2, 4.0)
"""How much more of it a band has than that an octave below."""
FLANK_PERIODS = 0.5
RESOLVED = 8.0
"""Bins to an early part's lowest frequency."""
NOISE_STRETCHES = 8
NOISE_TIMES = 3.0
"""Root mean squares of the stretches after the response that noise and hum reach before it."""
NEARBY = POINTS_PER_OCTAVE
"""Points of the grid: an early part is held against the greatest response so near."""
EARLY = 0.015
"""Amplitude re the response: a step of level by 1 dB at once leaves 0.035, an honest unit 0.005."""
EARLY_AT_LOW = ((2.8, 0.025), (4.0, 0.018))
"""Up to frequencies re the lowest of the response, where distortion and steep filters leave more
and a step less."""


class EarlyPart(NamedTuple):
    """What arrives early in a band.

    Parameters
    ----------
    hz : float
        Where most does, Hz.
    over : float
        How much re the greatest of an honest unit.
    low_hz : float
        Lowest frequency of the band, Hz.
    """

    hz: float
    over: float
    low_hz: float


def early_parts(sent: PlayedSweep, deconvolved: Deconvolved) -> list[EarlyPart]:
    """What the response has, by bands, that no system puts out before it is driven.

    Parameters
    ----------
    sent : PlayedSweep
        What was played.
    deconvolved : Deconvolved
        What came of it.

    Returns
    -------
    list of EarlyPart
        By rising bands, those above LOW_TO_HZ from the response's whole band.
    """
    from scipy.ndimage import maximum_filter1d

    bands = _bands(FIRST * float(sent.grid[0]), HIGHEST * float(sent.grid[-1]))
    nearby = maximum_filter1d(np.abs(deconvolved.ratio), 2 * NEARBY + 1)
    low = _low_response(sent, deconvolved)
    high = _Response.of(deconvolved.impulse, sent.own_rate_hz, deconvolved.peak, _gap_s(sent))
    seen = []
    for band in pairwise(bands):
        response = low if band[0] < LOW_TO_HZ else high
        stretch = _stretch(sent, response, band)
        if stretch is not None:
            limit = _early_limit(band[0] / float(sent.grid[0]))
            seen.append(EarlyPart(*_beyond(stretch, (sent.grid, nearby), limit), band[0]))
    return seen


def flutters(over: list[float]) -> bool:
    """Whether what arrives early is of a speed that flutters a little, as that of a tape does.

    A change at once leaves it about one frequency; flutter at all, in proportion to them.

    Parameters
    ----------
    over : list of float
        What arrives early re the limit, by rising bands above LOW_TO_HZ.

    Returns
    -------
    bool
    """
    top = over[-FLUTTERING_BANDS:]
    rising = all(RISING[0] * a < b < RISING[1] * a for a, b in pairwise(top))
    return len(top) == FLUTTERING_BANDS and rising and over[0] < MOST_FLUTTER


def _beyond(stretch: _Stretch, nearby: tuple[Array, Array], limit: float) -> tuple[float, float]:
    """Where most arrives early, and how much re a limit, noise taken off.

    nearby: frequencies, and what it is held against there.
    """
    look = stretch.look
    early = np.sqrt(look.power(stretch.before[None, :])[0])
    held = limit * np.interp(look.hz, *nearby)
    over = early / held
    if over.max() > 1:
        noise = np.sqrt(look.power(stretch.others()).mean(axis=0))
        over -= NOISE_TIMES * noise / held
    worst = int(np.argmax(over))
    return float(look.hz[worst]), float(over[worst])


class _Response(NamedTuple):
    """A circular impulse response, its rate in Hz, the sample that is its arrival, and as many
    before that as are ever looked at."""

    samples: Array
    rate_hz: float
    arrival: int
    ahead: Array

    @classmethod
    def of(cls, samples: Array, rate_hz: float, arrival: int, gap_s: float) -> _Response:
        """gap_s: how long before the arrival is looked at, s."""
        ahead = around(samples, arrival - round(gap_s * rate_hz), arrival)
        return cls(samples, rate_hz, arrival, ahead)

    def before(self, first: int, last: int) -> Array:
        """The samples from `first` to `last` before the arrival."""
        end = len(self.ahead)
        return self.ahead[end - first : end - last]

    def after(self, first: int, last: int) -> Array:
        """The samples from `first` to `last` after the arrival."""
        return around(self.samples, self.arrival + first, self.arrival + last)


def _gap_s(sent: PlayedSweep) -> float:
    """How long before the arrival the second harmonic's part ends, s."""
    return HARMONIC_GAP[1] * sent.sweep.scale_s * math.log(2)


def _low_response(sent: PlayedSweep, deconvolved: Deconvolved) -> _Response:
    from scipy import fft

    bins = sent.bins_below(LOW_BAND_HZ)
    samples = fft.irfft(_mended(sent, deconvolved, bins) * upper_taper(bins), 2 * bins)
    return _Response.of(samples, 2 * bins * sent.rate_hz / sent.size, 0, _gap_s(sent))


def _bands(lowest_hz: float, highest_hz: float) -> list[float]:
    """Edges of half octaves, from HALF_OCTAVES above the lowest frequency on of whole ones."""
    octaves = max(math.log2(highest_hz / lowest_hz), 0.0)
    low = np.arange(0, min(HALF_OCTAVES, octaves), 0.5)
    steps = np.concatenate([low, np.arange(HALF_OCTAVES, octaves), [octaves]])
    return [float(lowest_hz * 2**step) for step in steps]


def _mended(sent: PlayedSweep, deconvolved: Deconvolved, bins: int) -> Complex:
    """The quotient, where little or nothing was played drawn to how the response goes on there.

    A cut where the sweep begins would ring before the arrival; what distortion leaves below would
    stand there, divided by nothing.
    """
    turn = np.exp(2j * np.pi * deconvolved.arrival_s * sent.hz[:bins])
    held = 1 - sent.lost[:bins]
    mended = deconvolved.quotient[:bins] * turn * held
    return np.asarray(mended + deconvolved.continued[:bins] * (1 - np.square(held)))


def _early_limit(ratio: float) -> float:
    """Amplitude that an honest response doesn't reach, by frequency re the sweep's lowest."""
    return next((limit for below, limit in EARLY_AT_LOW if ratio < below), EARLY)


class _Look(NamedTuple):
    """Where a band is looked at in a response of some rate and length, and how.

    first, last: samples before the arrival. after, last_sample: first and last after it, of others
    as long. chosen: bins of a transform of `size` samples that lie in the band, at hz.
    """

    first: int
    last: int
    after: int
    last_sample: int
    weights: Array
    size: int
    chosen: slice
    hz: Array

    def power(self, rows: Array) -> Array:
        from scipy import fft

        return squared(fft.rfft(rows * self.weights, self.size, axis=1)[:, self.chosen])


class _Stretch(NamedTuple):
    """What a response is before its arrival, in others as long after it, and how to look at it."""

    before: Array
    others: Callable[[], Array]
    look: _Look


def _periods(low_hz: float) -> tuple[float, float]:
    return EARLY_PERIODS if low_hz < LOW_TO_HZ else HIGH_PERIODS


def _stretch(sent: PlayedSweep, response: _Response, band: tuple[float, float]) -> _Stretch | None:
    """None where periods are too long to keep it apart from the second harmonic."""
    look = _look(band, response.rate_hz, len(response.samples), _gap_s(sent), sent.after_s)
    if look is None:
        return None
    count = look.first - look.last
    return _Stretch(
        before=response.before(look.first, look.last),
        others=lambda: response.after(look.after, look.last_sample).reshape(-1, count),
        look=look,
    )


@lru_cache(maxsize=128)
def _look(
    band: tuple[float, float], rate: float, samples: int, gap_s: float, after_s: float
) -> _Look | None:
    """Kept, because it is the same for every record of a sweep."""
    from scipy import fft

    nearest, farthest = (periods / band[0] for periods in _periods(band[0]))
    farthest = min(farthest, gap_s)
    after = round(after_s * rate)
    first, last = round(farthest * rate), round(nearest * rate)
    count = first - last
    last_sample = after + NOISE_STRETCHES * count
    if farthest < LEAST_STRETCH * nearest or last_sample > samples:
        return None
    rise = flank(max(round(min(FLANK_PERIODS / band[0] * rate, count / 3)), 2))
    size = fft.next_fast_len(max(2 * count, round(RESOLVED * rate / band[0])), real=True)
    edges = [math.ceil(hz * size / rate) for hz in band]
    if edges[0] >= edges[1]:
        return None
    weights = np.concatenate([rise, np.ones(count - 2 * len(rise)), rise[::-1]])
    hz = np.arange(*edges) * (rate / size)
    for kept in (weights, hz):
        kept.setflags(write=False)
    return _Look(
        first=first, last=last, after=after, last_sample=last_sample, weights=weights, size=size,
        chosen=slice(*edges), hz=hz,
    )  # fmt: skip
