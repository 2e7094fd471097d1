"""The strongest lines of a spectrum, one after the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from backbench.signal.spectrum import Spectrum, peak_position

MOST = 64
LEAST_SHARE = 1e-5
STANDS = 10.0
"""A line stands where its peak is this many times the power of the bins about it."""


@dataclass(frozen=True)
class Line:
    """A frequency with the power in its lobe. stands: clear of what is about it."""

    hz: float
    power: float
    stands: bool


def strongest_lines(spectrum: Spectrum, most: int = MOST) -> list[Line]:
    """Lines by falling power, down to a ten-thousandth of a percent of the whole; at least one."""
    lobe = spectrum.window.half_width
    left = spectrum.power.copy()
    left[:lobe] = 0.0
    total = float(left.sum())
    lines: list[Line] = []
    while len(lines) < most and total > 0:
        peak = int(np.argmax(left[1:-1])) + 1
        near = slice(max(peak - lobe, 0), peak + lobe + 1)
        power = float(left[near].sum())
        if lines and power < LEAST_SHARE * total:
            break
        hz = peak_position(spectrum, peak) * spectrum.resolution_hz
        about = spectrum.power[max(peak - 4 * lobe, lobe) : peak + 4 * lobe + 1]
        stands = spectrum.power[peak] > STANDS * float(np.median(about))
        lines.append(Line(hz, power, bool(stands)))
        left[near] = 0.0
    return lines or [Line(spectrum.resolution_hz, 0.0, False)]


def line_power(spectrum: Spectrum, hz: float) -> float:
    """Power in the lobe about a frequency; 0 outside the spectrum."""
    lobe = spectrum.window.half_width
    centre = round(hz / spectrum.resolution_hz)
    if centre >= len(spectrum.power):
        return 0.0
    return float(spectrum.power[max(centre - lobe, 0) : centre + lobe + 1].sum())
