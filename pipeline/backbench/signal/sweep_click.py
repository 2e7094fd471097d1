"""Clicks that a sudden change leaves while a sweep passes low frequencies.

What a linear system with weak distortion puts out lies in the response from the tenth harmonic to
the window's end; a sudden change leaves a click beside that, in one period of the sweep.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from backbench.signal.sweep_deconvolved import FIRST, Deconvolved, upper_taper
from backbench.signal.sweep_excitation import PlayedSweep
from backbench.signal.track import Array

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


def click_hz(sent: PlayedSweep, deconvolved: Deconvolved) -> float | None:
    """Frequency of the sweep in whose period something else than the sweep stands out.

    Parameters
    ----------
    sent : PlayedSweep
        What was played.
    deconvolved : Deconvolved
        What came of it.

    Returns
    -------
    float or None
        Hz, > 0; None where nothing stands out.
    """
    from scipy import fft

    quotient, arrival_s = deconvolved.quotient, deconvolved.arrival_s
    sweep, first = sent.sweep, float(sent.grid[0]) * FIRST
    top = min(CLICKS_BELOW_HZ, float(sent.grid[-1]))
    bins = sent.bins_below(CLICK_BAND_HZ)
    rate = 2 * bins * sent.rate_hz / sent.size
    before = round(sweep.scale_s * math.log(HARMONICS + 0.5) * rate)
    after = round(sent.after_s * rate)
    if top < 2 * first or before + 1.5 * after > 2 * bins:
        return None
    tapered = quotient[:bins] * upper_taper(bins)
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
    edges = np.rint((sent.passed_s(hz) + arrival_s) * rate).astype(int)
    return _outstanding(hz[:-1], _by_period(left, edges), _by_period(output, edges))


def _by_period(volts: Array, edges: NDArray[np.int_]) -> Array:
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
    clicks = np.zeros(len(left), dtype=bool)
    for stands_out, amplitude in CLICKS:
        clicks |= (left > stands_out * usual) & (left > amplitude**2 * level)
    if not clicks.any():
        return None
    return float(hz[int(np.argmax(np.where(clicks, left / level, 0.0)))])
