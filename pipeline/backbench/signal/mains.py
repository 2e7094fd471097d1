"""Mains lines: multiples of a mains frequency that is seldom quite the nominal one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backbench.signal.background import degrees_of_freedom
from backbench.signal.power import Square, line_power
from backbench.signal.spectrum import Spectrum, peak_position
from backbench.signal.track import Array

OFF_NOMINAL = 0.01
WANDER = 4e-4
"""Change of the mains frequency within a record, relative: common practice, no source."""
LINES = 10
_STANDING = 12.0


def clear_of_mains(spectrum: Spectrum, nominal_hz: float | None) -> NDArray[np.bool_]:
    """Bins away from the steady part and, as far as the resolution allows, from mains lines."""
    lobe = spectrum.window.half_width
    bins = np.arange(len(spectrum.bins))
    clear: NDArray[np.bool_] = bins > lobe
    if nominal_hz is None:
        return clear
    step = nominal_hz / spectrum.resolution_hz
    reach = lobe + 0.4 * OFF_NOMINAL * bins
    apart = np.abs(bins - np.rint(bins / step) * step)
    return clear & ((apart > reach) | (reach > 0.35 * step))


def mains_frequency(spectrum: Spectrum, noise: Array, nominal_hz: float) -> float:
    """The mains frequency that the record shows, Hz; the nominal one where no line stands out.

    The weighted median over the multiples, each weighted by what it tells of the frequency.
    """
    found, weights = [], []
    for multiple in range(1, LINES + 1):
        centre = multiple * nominal_hz / spectrum.resolution_hz
        reach = max(OFF_NOMINAL * centre, 1.0)
        first, last = int(np.ceil(centre - reach)), int(np.floor(centre + reach)) + 1
        if last + 1 >= len(noise):
            break
        peak = first + int(np.argmax(spectrum.power[first:last]))
        ratio = spectrum.power[peak] / noise[peak]
        if ratio > _STANDING:
            found.append(peak_position(spectrum, peak) * spectrum.resolution_hz / multiple)
            weights.append(multiple * np.sqrt(ratio))
    if not found:
        return nominal_hz
    order = np.argsort(found)
    share = np.cumsum(np.array(weights)[order])
    middle = int(np.searchsorted(share, share[-1] / 2))
    return float(min(max(found[order[middle]], 0.98 * nominal_hz), 1.02 * nominal_hz))


def mains_line(spectrum: Spectrum, noise: Array, frequency_hz: float) -> Square:
    """Mean square of the line at a multiple of the mains, its noise taken off, V^2."""
    centre = frequency_hz / spectrum.resolution_hz
    half = spectrum.window.half_width + 0.5 + WANDER * centre
    lobe = slice(int(np.ceil(centre - half)), int(np.floor(centre + half)) + 1)
    spread = spectrum.window.spread
    samples = degrees_of_freedom(centre, spread)
    return line_power(spectrum.power[lobe], noise[lobe], spread, samples)
