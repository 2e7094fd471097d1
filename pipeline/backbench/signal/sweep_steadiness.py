"""Whether a system and its record held still while a sweep passed.

Four views of the deconvolved response tell it. A system answers after it was driven, and its
harmonics stand well before: a change at a frequency leaves a part between the two, periods before
the arrival. What a linear system with weak distortion puts out lies in the response from the tenth
harmonic to the window's end; a sudden change at a low frequency leaves a click beside that, in one
period of the sweep. Higher up, where a period is short, it leaves a jump in the response between
neighbouring frequencies, which no filter of an amplifier makes; and time that wanders leaves a
delay of more periods than a filter can have.
"""

from __future__ import annotations

import math
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

EARLY_FROM = 2.0
"""Lowest frequency at which an early part is looked for, re the lowest of the response."""
EARLY_TO_HZ, EARLY_BAND_HZ = 640.0, 1500.0
"""Highest such frequency, and the band that is transformed for them."""
EARLY_PERIODS = (1.0, 12.0)
"""It is looked for so many periods before the arrival, at most to the second harmonic's part."""
HALF_OCTAVES = 1.5
"""Octaves from the lowest that are looked at by halves: periods are few there."""
LEAST_STRETCH = 1.25
"""Longest re shortest time before the arrival."""
FLANK_PERIODS = 0.5
RESOLVED = 8.0
"""Bins to an early part's lowest frequency."""
NOISE_STRETCHES = 8
NOISE_TIMES = 3.0
"""Root mean squares of the stretches after the response that noise and hum reach before it."""
HALF_OCTAVE = 12
"""Points of the grid: an early part is held against the greatest response so near."""
EARLY = 0.02
"""Amplitude re the response: a step of level by 1 dB at once leaves 0.035."""
EARLY_AT_LOW = ((2.8, 0.025), (4.0, 0.018), (5.6, 0.014))
"""Up to frequencies re the lowest of the response, where a step leaves less."""

FIRST = 1.25
"""Lowest frequency at which clicks are looked for re the lowest of the response."""
HARMONICS = 10
"""Up to this order the harmonics count as the unit's own."""
CLICKS_BELOW_HZ, CLICK_BAND_HZ = 80.0, 2000.0
"""Frequencies of the sweep at which clicks are looked for, and the band they are looked for in."""
NEIGHBOURS = 5
"""Periods to either side with which one is compared."""
CLICKS = ((40.0, 0.004), (20.0, 0.012), (4.5, 0.08))
"""Power in a period re the median about it, and amplitude re the output's greatest so near, of what
counts as a click: a greater one needs to stand out less. Noise of eight degrees of freedom stands
out 4 times, and honest units with hum up to 30 times."""
LOW_HZ, LOW_CLICK = 20.0, (25.0, 0.03)
"""Below this frequency a click must be greater: steep filters leave some there by themselves."""
JUMPS_ABOVE_HZ = 400.0
FLANK = 0.02
"""Width of the stretch on either side of a jump, re the frequency."""
LEAST_FLANK = 4
JUMP = 0.05
"""Of the logarithm of the response: 0.4 dB or 3 degrees within a hundredth of the frequency."""
DEVIATIONS = 6.0
WANDER_CYCLES = 4.0
"""Delay re the arrival, in periods: that of a resonance of quality 12, Q / pi."""
WANDER_ABOVE_HZ = 200.0
LEAST_CLEAR = 0.05
"""Greatest relative uncertainty of a response whose jumps and delay are looked at."""


class Deconvolved(NamedTuple):
    """An output over what was played, in the forms that its steadiness is read from.

    Parameters
    ----------
    quotient : ndarray of complex128, shape (k,)
        By kept bin.
    continued : ndarray of complex128, shape (k,)
        The response by kept bin, its arrival at time 0, as it goes on beyond the sweep's band.
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
    if len(course.hz) < 4 * LEAST_FLANK:
        return
    jump_hz = _jump(sent, course)
    if jump_hz is not None:
        raise Refusal(_changed(jump_hz))
    _refuse_wander(course)


def _changed(hz: float) -> str:
    return (
        f"the output changed at once while the sweep passed about {in_text(hz, 'Hz', 3)}: a step of "
        "level, a gap, samples that are missing or repeated, or a late start or early end; "
        "record again"
    )


def _early(sent: PlayedSweep, found: Deconvolved) -> float | None:
    """Frequency at which the response has most of what no system puts out before it is driven."""
    from scipy import fft
    from scipy.ndimage import maximum_filter1d

    bands = _bands(EARLY_FROM * float(sent.grid[0]))
    bins = min(int(EARLY_BAND_HZ * sent.size / sent.rate_hz), len(found.quotient))
    if len(bands) < 2 or bins * sent.rate_hz / sent.size < 2 * bands[-1]:
        return None
    response = fft.irfft(_mended(sent, found, bins) * _upper_taper(bins), 2 * bins)
    rate = 2 * bins * sent.rate_hz / sent.size
    nearby = maximum_filter1d(np.abs(found.ratio), 2 * HALF_OCTAVE + 1)
    worst, worst_hz = 1.0, None
    for low_hz, high_hz in pairwise(bands):
        hz, early, noise = _early_part(sent, response, rate, (float(low_hz), float(high_hz)))
        if len(hz) == 0:
            continue
        beyond = (early - NOISE_TIMES * noise) / np.interp(hz, sent.grid, nearby)
        over = float(beyond.max()) / _early_limit(float(low_hz / sent.grid[0]))
        if over > worst:
            worst, worst_hz = over, float(hz[int(np.argmax(beyond))])
    return worst_hz


def _bands(lowest_hz: float) -> Array:
    """Edges of half octaves, from HALF_OCTAVES above the lowest frequency on of whole ones."""
    octaves = math.log2(EARLY_TO_HZ / lowest_hz)
    low = np.arange(0, min(HALF_OCTAVES, octaves), 0.5)
    return np.asarray(lowest_hz * 2 ** np.concatenate([low, np.arange(HALF_OCTAVES, octaves + 0.5)]))


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


def _early_part(
    sent: PlayedSweep, response: Array, rate: float, band: tuple[float, float]
) -> tuple[Array, Array, Array]:
    """Frequencies, magnitude of what arrives early and that of noise in as long a stretch.

    Empty where periods are too long to keep it apart from the second harmonic.
    """
    from scipy import fft

    nearest, farthest = (periods / band[0] for periods in EARLY_PERIODS)
    farthest = min(farthest, HARMONIC_GAP[1] * sent.sweep.scale_s * math.log(2))
    after = round(sent.window.after / sent.own_rate_hz * rate)
    first, last = round(farthest * rate), round(nearest * rate)
    count = first - last
    if farthest < LEAST_STRETCH * nearest or after + NOISE_STRETCHES * count > len(response) - first:
        return np.empty(0), np.empty(0), np.empty(0)
    flank = max(round(min(FLANK_PERIODS / band[0] * rate, count / 3)), 2)
    rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(flank) + 0.5) / flank)
    weights = np.concatenate([rise, np.ones(count - 2 * flank), rise[::-1]])
    others = response[after : after + NOISE_STRETCHES * count].reshape(NOISE_STRETCHES, count)
    before = response[len(response) - first : len(response) - last]
    size = fft.next_fast_len(max(2 * count, round(RESOLVED * rate / band[0])), real=True)
    power = squared(fft.rfft(np.vstack([before, others]) * weights, size, axis=1))
    hz = np.arange(size // 2 + 1) * (rate / size)
    chosen = (hz >= band[0]) & (hz < band[1])
    return hz[chosen], np.sqrt(power[0, chosen]), np.sqrt(power[1:, chosen].mean(axis=0))


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
        found |= (left > stands_out * usual) & (left > amplitude**2 * level) & (hz >= LOW_HZ)
    found |= (left > LOW_CLICK[0] * usual) & (left > LOW_CLICK[1] ** 2 * level)
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


def _jump(sent: PlayedSweep, course: _Course) -> float | None:
    """Frequency at which the straight lines through both sides don't meet."""
    count = len(course.hz)
    cell = float(course.hz[1] - course.hz[0])
    gap = math.ceil(1.5 * sent.own_rate_hz / sent.window.before / cell)
    at = _places(course.hz, gap)
    wide = np.maximum(LEAST_FLANK, np.rint(FLANK * course.hz[at] / cell)).astype(int)
    inside = (at - gap - wide >= 0) & (at + gap + wide < count)
    inside &= course.hz[at] >= JUMPS_ABOVE_HZ
    at, wide = at[inside], wide[inside]
    if len(at) == 0:
        return None
    line = _Lines(course.log)
    jump = line.at(at + gap, wide, at) - line.at(at - gap - wide, wide, at)
    u = course.u[at] * np.sqrt(8 / wide) * (1 + 1.5 * gap / wide)
    over = np.abs(jump) / (JUMP + DEVIATIONS * u)
    worst = int(np.argmax(over))
    return float(course.hz[at[worst]]) if over[worst] > 1 else None


def _places(hz: Array, gap: int) -> Order:
    """Where a jump is looked for: a gap apart, farther apart where the flanks are longer."""
    apart = np.maximum(gap, FLANK / 8 * hz / (hz[1] - hz[0]))
    passed = np.floor(np.cumsum(1 / apart)).astype(int)
    return np.flatnonzero(np.diff(passed, prepend=-1) > 0)


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
    wide = np.maximum(2 * LEAST_FLANK, np.rint(2 * FLANK * course.hz / cell)).astype(int)
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
