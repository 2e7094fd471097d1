"""A line at the upper end of a band: whole within it or wholly beyond it.

The window spreads a line over its lobe, of which the end of the band would cut off a part.
"""

from __future__ import annotations

import math

from backbench.signal.spectrum import Spectrum, peak_position
from backbench.signal.track import Array

STANDING = 50.0
"""Times the noise of a bin from which what is there is a line: noise gets there once in e^50."""
UNTOLD = 0.1
"""Bins beyond the end within which a line counts as in the band: its place isn't known better."""


def power_up_to(own: Spectrum, noise: Array, band: slice, end_hz: float) -> Array:
    """Power by bin of a band, with the strongest line at its upper end whole or not at all.

    Parameters
    ----------
    own : Spectrum
        Of the record.
    noise : ndarray of float64, shape (bins,)
        Mean noise power by bin, V^2.
    band : slice
        Of its bins, the last of which lies at the end.
    end_hz : float
        Upper end of the band, Hz, below half the sample rate by more than a lobe.

    Returns
    -------
    ndarray of float64, shape (band,)
        V^2. Of a line that lies in the band, what its lobe has beyond the end is added to the last
        bins, so that sums under a weighting that is straight over a lobe are those of the whole
        lobe: single bins there may be below 0. Of one that lies beyond, the noise stands for what
        its lobe has in the band.
    """
    power, half = own.power[band], own.window.half_width
    first = max(band.stop - 1 - half, band.start)
    about = slice(first, min(band.stop + half, len(noise) - 1))
    found = own.power[about]
    peak = first + int(found.argmax())
    if found[peak - first] <= STANDING * noise[peak]:
        return power
    place = peak_position(own, peak)
    low, high = math.ceil(place - half - 0.5), math.floor(place + half + 0.5) + 1
    power = power.copy()
    if place > end_hz / own.resolution_hz + UNTOLD:
        inside = slice(max(low, band.start), band.stop)
        power[inside.start - band.start :] = noise[inside]
        return power
    cut = slice(band.stop, min(high, len(noise), band.stop + len(power) - 1))
    beyond = own.power[cut] - noise[cut]
    # What a weighting is beyond the end, from what it is as far within it.
    power[-1] += 2 * float(beyond.sum())
    power[len(power) - 1 - len(beyond) : -1] -= beyond[::-1]
    return power
