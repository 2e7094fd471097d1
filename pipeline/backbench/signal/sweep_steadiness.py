"""Whether a system and its record held still while a sweep passed.

Three views of the deconvolved response tell it. A system answers after it was driven, and its
harmonics stand well before: a change at a frequency leaves a part between the two, periods before
the arrival. What a linear system with weak distortion puts out lies in the response from the tenth
harmonic to the window's end; a sudden change at a low frequency leaves a click beside that, in one
period of the sweep. Time that wanders leaves a delay of more periods than a filter can have.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.power import squared
from backbench.signal.sweep_excitation import PlayedSweep
from backbench.signal.sweep_window import HARMONIC_GAP, Complex
from backbench.signal.track import Array

Order = NDArray[np.int_]

TAPER_FROM = 0.5
"""Where a band begins to fall, re its end."""

FIRST = 2.0
"""Lowest frequency that is looked at, re the lowest of the response: steep filters leave clicks
below."""
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
NEARBY = 24
"""Points of the grid, an octave: an early part is held against the greatest response so near."""
EARLY = 0.015
"""Amplitude re the response: a step of level by 1 dB at once leaves 0.035, an honest unit 0.005."""
EARLY_AT_LOW = ((2.8, 0.025), (4.0, 0.018))
"""Up to frequencies re the lowest of the response, where distortion and steep filters leave more
and a step less."""

HARMONICS = 10
"""Up to this order the harmonics count as the unit's own."""
CLICKS_BELOW_HZ, CLICK_BAND_HZ = 50.0, 2000.0
"""Frequencies of the sweep at which clicks are looked for, and the band they are looked for in."""
NEIGHBOURS = 5
"""Periods to either side with which one is compared."""
CLICKS = ((40.0, 0.012), (20.0, 0.03), (4.5, 0.08))
"""Power in a period re the median about it, and amplitude re the output's greatest so near, of what
counts as a click: a greater one needs to stand out less. Noise of eight degrees of freedom stands
out 4 times; where a resonance alone reaches a limit, high harmonics stand out 70 times."""
FLANK = 0.04
"""Width of the stretch in which the delay is read, re the frequency."""
LEAST_FLANK = 8
WANDER_CYCLES = 5.0
"""Delay re the arrival, in periods: that of a resonance of quality 16, Q / pi."""
WANDER_ABOVE_HZ = 200.0
LEAST_CLEAR = 0.05
"""Greatest relative uncertainty of a response whose delay is looked at."""


class Deconvolved(NamedTuple):
    """An output over what was played, in the forms that its steadiness is read from.

    Parameters
    ----------
    quotient : ndarray of complex128, shape (k,)
        By kept bin.
    continued : ndarray of complex128, shape (k,)
        The response by kept bin, its arrival at time 0, as it goes on beyond the sweep's band.
    impulse : ndarray of float64, shape (samples,)
        Its response in time, circular.
    peak : int
        Its greatest sample.
    arrival_s : float
        Delay of the output, s.
    spectrum : ndarray of complex128, shape (window.size // 2 + 1,)
        Of the windowed response about the peak.
    ratio : ndarray of complex128, shape (g,)
        The response on the sweep's grid.
    noise : ndarray of float64, shape (g,)
        Standard uncertainty of its magnitude.
    """

    quotient: Complex
    continued: Complex
    impulse: Array
    peak: int
    arrival_s: float
    spectrum: Complex
    ratio: Complex
    noise: Array


def refuse_unsteady(sent: PlayedSweep, found: Deconvolved) -> None:
    """Raise Refusal where the level or the time changed while the sweep passed.

    Parameters
    ----------
    sent : PlayedSweep
        What was played.
    found : Deconvolved
        What came of it.

    Raises
    ------
    Refusal
        With the frequency at which it changed.
    """
    for look in (_early, _click):
        changed_hz = look(sent, found)
        if changed_hz is not None:
            raise Refusal(_changed(changed_hz))
    course = _course(sent, found.spectrum, found.noise / np.abs(found.ratio))
    if len(course.hz) < 2 * LEAST_FLANK:
        return
    _refuse_wander(course)


def _changed(hz: float) -> str:
    return (
        f"the output changed while the sweep passed about {in_text(hz, 'Hz', 3)}: a step of level, "
        "a gap, samples that are missing or repeated, a late start or early end, or speed that "
        "wanders; record again"
    )


def _early(sent: PlayedSweep, found: Deconvolved) -> float | None:
    """Frequency at which the response has most of what no system puts out before it is driven."""
    from scipy.ndimage import maximum_filter1d

    bands = _bands(FIRST * float(sent.grid[0]), HIGHEST * float(sent.grid[-1]))
    nearby = maximum_filter1d(np.abs(found.ratio), 2 * NEARBY + 1)
    low, high = _low_response(sent, found), _Response(found.impulse, sent.own_rate_hz, found.peak)
    seen = []
    for band in pairwise(bands):
        response = low if band[0] < LOW_TO_HZ else high
        stretch = _stretch(sent, response, band)
        if stretch is not None:
            limit = _early_limit(band[0] / float(sent.grid[0]))
            seen.append((*_beyond(stretch, (sent.grid, nearby), limit), band[0]))
    if _flutters([over for _, over, low_hz in seen if low_hz > LOW_TO_HZ]):
        seen = [one for one in seen if one[2] <= LOW_TO_HZ]
    hz, over, _ = max(seen, key=lambda one: one[1], default=(0.0, 0.0, 0.0))
    return hz if over > 1 else None


def _flutters(over: list[float]) -> bool:
    """Whether what arrives early is of a speed that flutters a little, as that of a tape does.

    A change at once leaves it about one frequency; flutter at all, in proportion to them.

    over: what arrives early re the limit, by rising bands.
    """
    top = over[-FLUTTERING_BANDS:]
    rising = all(RISING[0] * a < b < RISING[1] * a for a, b in pairwise(top))
    return len(top) == FLUTTERING_BANDS and rising and over[0] < MOST_FLUTTER


def _beyond(stretch: _Stretch, nearby: tuple[Array, Array], limit: float) -> tuple[float, float]:
    """Where most arrives early, and how much re a limit, noise taken off.

    nearby: frequencies, and what it is held against there.
    """
    early = np.sqrt(stretch.power(stretch.before[None, :])[0])
    held = limit * np.interp(stretch.hz, *nearby)
    over = early / held
    if over.max() > 1:
        noise = np.sqrt(stretch.power(stretch.others()).mean(axis=0))
        over -= NOISE_TIMES * noise / held
    worst = int(np.argmax(over))
    return float(stretch.hz[worst]), float(over[worst])


class _Response(NamedTuple):
    """A circular impulse response, its rate in Hz and the sample that is its arrival."""

    samples: Array
    rate_hz: float
    arrival: int

    def before(self, first: int, last: int) -> Array:
        """The samples from `first` to `last` before the arrival."""
        return self.samples.take(np.arange(self.arrival - first, self.arrival - last), mode="wrap")


def _low_response(sent: PlayedSweep, found: Deconvolved) -> _Response:
    from scipy import fft

    bins = min(int(LOW_BAND_HZ * sent.size / sent.rate_hz), len(found.quotient))
    samples = fft.irfft(_mended(sent, found, bins) * _upper_taper(bins), 2 * bins)
    return _Response(samples, 2 * bins * sent.rate_hz / sent.size, 0)


def _bands(lowest_hz: float, highest_hz: float) -> list[float]:
    """Edges of half octaves, from HALF_OCTAVES above the lowest frequency on of whole ones."""
    octaves = max(math.log2(highest_hz / lowest_hz), 0.0)
    low = np.arange(0, min(HALF_OCTAVES, octaves), 0.5)
    steps = np.concatenate([low, np.arange(HALF_OCTAVES, octaves), [octaves]])
    return [float(lowest_hz * 2**step) for step in steps]


def _mended(sent: PlayedSweep, found: Deconvolved, bins: int) -> Complex:
    """The quotient, where little or nothing was played drawn to how the response goes on there.

    A cut where the sweep begins would ring before the arrival; what distortion leaves below would
    stand there, divided by nothing.
    """
    turn = np.exp(2j * np.pi * found.arrival_s * sent.hz[:bins])
    held = 1 - sent.lost[:bins]
    mended = found.quotient[:bins] * turn * held
    return np.asarray(mended + found.continued[:bins] * (1 - np.square(held)))


def _early_limit(ratio: float) -> float:
    """Amplitude that an honest response doesn't reach, by frequency re the sweep's lowest."""
    return next((limit for below, limit in EARLY_AT_LOW if ratio < below), EARLY)


class _Stretch(NamedTuple):
    """What a response is before its arrival, in others as long after it, and how to look at it.

    chosen: bins of a transform of `size` samples that lie in a band, at hz.
    """

    before: Array
    others: Callable[[], Array]
    weights: Array
    size: int
    chosen: slice
    hz: Array

    def power(self, rows: Array) -> Array:
        from scipy import fft

        return squared(fft.rfft(rows * self.weights, self.size, axis=1)[:, self.chosen])


def _periods(low_hz: float) -> tuple[float, float]:
    return EARLY_PERIODS if low_hz < LOW_TO_HZ else HIGH_PERIODS


def _stretch(sent: PlayedSweep, response: _Response, band: tuple[float, float]) -> _Stretch | None:
    """None where periods are too long to keep it apart from the second harmonic."""
    from scipy import fft

    rate = response.rate_hz
    nearest, farthest = (periods / band[0] for periods in _periods(band[0]))
    farthest = min(farthest, HARMONIC_GAP[1] * sent.sweep.scale_s * math.log(2))
    after = round(sent.window.after / sent.own_rate_hz * rate)
    first, last = round(farthest * rate), round(nearest * rate)
    count = first - last
    last_sample = after + NOISE_STRETCHES * count
    if farthest < LEAST_STRETCH * nearest or last_sample > len(response.samples):
        return None
    flank = max(round(min(FLANK_PERIODS / band[0] * rate, count / 3)), 2)
    rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(flank) + 0.5) / flank)
    size = fft.next_fast_len(max(2 * count, round(RESOLVED * rate / band[0])), real=True)
    edges = [math.ceil(hz * size / rate) for hz in band]
    if edges[0] >= edges[1]:
        return None
    return _Stretch(
        before=response.before(first, last),
        others=lambda: response.before(-after, -last_sample).reshape(-1, count),
        weights=np.concatenate([rise, np.ones(count - 2 * flank), rise[::-1]]),
        size=size,
        chosen=slice(*edges),
        hz=np.arange(*edges) * (rate / size),
    )


def _click(sent: PlayedSweep, found: Deconvolved) -> float | None:
    """Frequency of the sweep in whose period something else than the sweep stands out."""
    from scipy import fft

    quotient, arrival_s = found.quotient, found.arrival_s
    sweep, first = sent.sweep, float(sent.grid[0]) * FIRST
    top = min(CLICKS_BELOW_HZ, float(sent.grid[-1]))
    bins = min(int(CLICK_BAND_HZ * sent.size / sent.rate_hz), len(quotient))
    rate = 2 * bins * sent.rate_hz / sent.size
    before = round(sweep.scale_s * math.log(HARMONICS + 0.5) * rate)
    after = round(sent.window.after / sent.own_rate_hz * rate)
    if top < 2 * first or before + 1.5 * after > 2 * bins:
        return None
    tapered = quotient[:bins] * _upper_taper(bins)
    source = sent.inverse[:bins].conj() * (sent.density[:bins] / (1 - sent.lost[:bins]))
    rest = fft.irfft(tapered, 2 * bins)
    chosen = np.arange(-before, after) + round(arrival_s * rate)
    rest[chosen % len(rest)] = 0
    left = fft.irfft(fft.rfft(rest)[:bins] * source, 2 * bins)
    output = fft.irfft(tapered * source, 2 * bins)
    cycles = np.arange(
        math.ceil(sweep.scale_s * (first - sweep.start_hz)),
        math.floor(sweep.scale_s * (top - sweep.start_hz)),
    )
    hz = sweep.start_hz + cycles / sweep.scale_s
    begun = sent.middle_s - sweep.duration_s / 2 + arrival_s
    edges = np.rint((begun + sweep.scale_s * np.log(hz / sweep.start_hz)) * rate).astype(int)
    return _outstanding(hz[:-1], _by_period(left, edges), _by_period(output, edges))


def _upper_taper(bins: int) -> Array:
    """Flat, then a raised cosine over the upper part: an edge would ring all over the response."""
    place = np.clip((np.arange(bins) / bins - TAPER_FROM) / (1 - TAPER_FROM), 0, 1)
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * place))


def _by_period(volts: Array, edges: Order) -> Array:
    """Mean square between neighbouring edges; those beyond the end come round."""
    chosen = np.take(volts, np.arange(edges[0], edges[-1] + 1), mode="wrap")
    sums = np.add.reduceat(np.square(chosen), edges - edges[0])[:-1]
    return np.asarray(sums / np.maximum(np.diff(edges), 1))


def _outstanding(hz: Array, left: Array, output: Array) -> float | None:
    from numpy.lib.stride_tricks import sliding_window_view

    if len(left) < 2 * NEIGHBOURS + 1:
        return None
    about = [
        sliding_window_view(np.pad(v, NEIGHBOURS, mode="reflect"), 2 * NEIGHBOURS + 1)
        for v in (left, output)
    ]
    usual, level = np.median(about[0], axis=1), about[1].max(axis=1)
    found = np.zeros(len(left), dtype=bool)
    for stands_out, amplitude in CLICKS:
        found |= (left > stands_out * usual) & (left > amplitude**2 * level)
    if not found.any():
        return None
    return float(hz[int(np.argmax(np.where(found, left / level, 0.0)))])


class _Course(NamedTuple):
    """Logarithm of the response, real and imaginary, by resolution cell, and its uncertainty."""

    hz: Array
    log: Complex
    u: Array


def _course(sent: PlayedSweep, spectrum: Complex, noise: Array) -> _Course:
    """The longest upper stretch of the response that is clear of noise."""
    step = max(sent.window.size // len(sent.window.weights), 1)
    cell = sent.own_rate_hz / sent.window.size
    chosen = np.arange(
        math.ceil(max(WANDER_ABOVE_HZ, sent.grid[0]) / cell), int(sent.grid[-1] / cell), step
    )
    hz, values = chosen * cell, spectrum[chosen]
    power = squared(values)
    u = np.interp(hz, sent.grid, noise)
    clear = (u < LEAST_CLEAR) & (power > 0)
    unclear = np.flatnonzero(~clear)
    longest = np.concatenate([[-1], unclear, [len(hz)]])
    widest = int(np.argmax(np.diff(longest))) if len(hz) else 0
    part = slice(int(longest[widest]) + 1, int(longest[widest + 1]) if len(hz) else 0)
    turned = np.unwrap(np.angle(values[part]))
    return _Course(hz[part], 0.5 * np.log(power[part]) + 1j * turned, u[part])


class _Lines:
    """Straight lines by least squares through stretches of a sequence."""

    def __init__(self, values: Complex) -> None:
        order = np.arange(len(values))
        self.sums = np.concatenate([[0], np.cumsum(values)])
        self.moments = np.concatenate([[0], np.cumsum(values * order)])

    def fitted(self, first: Order, count: Order) -> tuple[Complex, Complex, Array]:
        """Mean, slope and centre."""
        whole = self.sums[first + count] - self.sums[first]
        centre = first + (count - 1) / 2
        moment = self.moments[first + count] - self.moments[first] - centre * whole
        return whole / count, 12 * moment / (count * (count**2 - 1.0)), centre

    def at(self, first: Order, count: Order, place: Order) -> Complex:
        """The line's value at a place."""
        mean, slope, centre = self.fitted(first, count)
        return np.asarray(mean + slope * (place - centre))


def _refuse_wander(course: _Course) -> None:
    cell = float(course.hz[1] - course.hz[0])
    wide = np.maximum(LEAST_FLANK, np.rint(FLANK * course.hz / cell)).astype(int)
    first = np.flatnonzero(np.arange(len(course.hz)) + wide < len(course.hz))[::LEAST_FLANK]
    if len(first) == 0:
        return
    _, slope, centre = _Lines(course.log).fitted(first, wide[first])
    cycles = -slope.imag / (2 * np.pi * cell) * (course.hz[0] + cell * centre)
    worst = int(np.argmax(np.abs(cycles)))
    if abs(cycles[worst]) > WANDER_CYCLES:
        raise Refusal(
            f"the delay at {in_text(course.hz[first[worst]], 'Hz', 3)} is "
            f"{in_text(abs(float(cycles[worst])), '', 2)} periods off the arrival's: speed that "
            "wanders, samples that are missing or repeated, or clocks of player and recorder "
            "that differ; record again"
        )
