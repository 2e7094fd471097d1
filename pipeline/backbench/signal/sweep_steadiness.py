"""Whether a system and its record held still while a sweep passed.

Two views of the deconvolved response tell it. What a linear system with weak distortion puts out
lies in the response from the tenth harmonic to the window's end; a sudden change of level or of
time leaves a click beside that, in one period of the sweep. Higher up, where a period is short,
it leaves a jump in the response between neighbouring frequencies, which no filter of an
amplifier makes; and time that wanders leaves a delay of more periods than a filter can have.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.power import squared
from backbench.signal.sweep_excitation import PlayedSweep
from backbench.signal.sweep_window import Complex
from backbench.signal.track import Array

Order = NDArray[np.int_]

TAPER_FROM = 0.5
"""Where the band for clicks begins to fall, re its end."""
FIRST = 1.25
"""Lowest frequency at which clicks are looked for re the lowest of the response."""
HARMONICS = 10
"""Up to this order the harmonics count as the unit's own."""
CLICKS_BELOW_HZ = 800.0
"""Periods of the sweep above this are too short for a click to be told from noise in one."""
CLICK_BAND = 5.0
"""Band in which clicks are looked for, re the highest frequency of the sweep among the periods."""
NEIGHBOURS = 5
"""Periods to either side with which one is compared."""
CLICK_STANDS_OUT = 25.0
"""Power in a period re the median about it; noise of eight degrees of freedom reaches 4."""
CLICK_AUDIBLE = 0.005
"""Amplitude of what is left re the output's in the neighbourhood: half of 1 % at once."""
LOW_HZ, CLICK_LOW = 20.0, 0.03
"""Below this frequency a click must be greater: steep filters leave some there by themselves."""
GREATER = ((12.0, 0.01), (4.5, 0.08))
"""Standing out and amplitude of greater clicks, which need to stand out less, of hum for one."""
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


def refuse_unsteady(
    sent: PlayedSweep, quotient: Complex, arrival_s: float, spectrum: Complex, noise: Array
) -> None:
    """Raise Refusal where the level or the time changed while the sweep passed.

    Parameters
    ----------
    sent : PlayedSweep
        What was played.
    quotient : ndarray of complex128, shape (k,)
        Output over what was played by kept bin.
    arrival_s : float
        Delay of the output, s.
    spectrum : ndarray of complex128, shape (sent.window.size // 2 + 1,)
        Of the windowed response about the peak.
    noise : ndarray of float64, shape (k,)
        Relative standard uncertainty of the response's magnitude on the sweep's grid.

    Raises
    ------
    Refusal
        With the frequency at which it changed.
    """
    click_hz = _click(sent, quotient, arrival_s)
    if click_hz is not None:
        raise Refusal(_changed(click_hz))
    course = _course(sent, spectrum, noise)
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


def _click(sent: PlayedSweep, quotient: Complex, arrival_s: float) -> float | None:
    """Frequency of the sweep in whose period something else than the sweep stands out."""
    from scipy import fft

    sweep, first = sent.sweep, float(sent.grid[0]) * FIRST
    top = min(CLICKS_BELOW_HZ, float(sent.grid[-1]))
    bins = min(int(CLICK_BAND * top * sent.size / sent.rate_hz), len(quotient))
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
    sums = np.concatenate([[0.0], np.cumsum(np.square(np.concatenate([volts, volts])))])
    places = edges - (edges[0] - edges[0] % len(volts))
    return np.asarray(np.diff(sums[places]) / np.maximum(np.diff(places), 1))


def _outstanding(hz: Array, left: Array, output: Array) -> float | None:
    from numpy.lib.stride_tricks import sliding_window_view

    if len(left) < 2 * NEIGHBOURS + 1:
        return None
    about = [
        sliding_window_view(np.pad(v, NEIGHBOURS, mode="reflect"), 2 * NEIGHBOURS + 1)
        for v in (left, output)
    ]
    usual, level = np.median(about[0], axis=1), about[1].max(axis=1)
    audible = np.where(hz < LOW_HZ, CLICK_LOW, CLICK_AUDIBLE)
    found = (left > CLICK_STANDS_OUT * usual) & (left > audible**2 * level)
    for stands_out, amplitude in GREATER:
        strong = np.maximum(amplitude, audible)
        found |= (left > stands_out * usual) & (left > strong**2 * level)
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
