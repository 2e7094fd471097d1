"""The spectrum of a record with nothing playing, made of its transform without a window.

A cosine-sum window is a sum of neighbouring bins, which takes less time than a transform of its own
where the plain one is there already.
"""

from __future__ import annotations

import math

import numpy as np

from backbench.signal.kept_property import kept_with_it
from backbench.signal.side_by_side import transform
from backbench.signal.spectrum import Spectrum
from backbench.signal.tone import BAND_HZ
from backbench.signal.track import Track
from backbench.signal.window import Complex, window

HANN = (0.5, 0.5)
"""The window above the band, where nothing strong is near: its side lobes fall with the third power
of the distance (closed form)."""


@kept_with_it
def quiet_spectrum(track: Track) -> Spectrum:
    """The spectrum of a track in which nothing plays.

    Parameters
    ----------
    track : Track
        The record.

    Returns
    -------
    Spectrum
        Kept as long as the track.

    Notes
    -----
    The last samples are left out where their number has large prime factors. Up to a lobe above
    20 kHz the bins are those of the window of seven terms; above, those of a Hann window, scaled so
    that noise and the lobe of a line each sum to the same mean square.
    """
    from scipy.fft import prev_fast_len

    weights = window(prev_fast_len(len(track.volts), real=True))
    count = len(weights.samples)
    plain = transform(track, count)
    ends = math.floor(BAND_HZ[1] * count / track.rate_hz) + 1 + weights.half_width
    bins = np.empty_like(plain)
    _weigh(plain, count, weights.terms, 0, bins[:ends])
    energy = count * (HANN[0] ** 2 + HANN[1] ** 2 / 2)
    scale = math.sqrt(weights.energy / energy)
    _weigh(plain, count, tuple(scale * term for term in HANN), ends, bins[ends:])
    return Spectrum(bins, weights, track.rate_hz)


def _weigh(plain: Complex, count: int, terms: tuple[float, ...], first: int, out: Complex) -> None:
    """Bins from `first` on under a window, as many as `out` holds, from the plain transform.

    count: samples of the transform. terms: of the window (see Window).
    """
    reach, stop = len(terms) - 1, first + len(out)
    low, high = max(first, reach), max(min(stop, len(plain) - reach), first, reach)
    parts = [(first, min(low, stop)), (low, min(high, stop)), (high, stop)]
    for begin, end in parts:
        if end > begin:
            inside = begin >= reach and end + reach <= len(plain)
            given = (
                plain[begin - reach : end + reach]
                if inside
                else _around(plain, count, begin - reach, end + reach)
            )
            _sum_of_neighbours(given, terms, out[begin - first : end - first])


def _around(plain: Complex, count: int, first: int, stop: int) -> Complex:
    """Bins from `first` to `stop` - 1, below 0 Hz and above half the rate too."""
    places = np.arange(first, stop) % count
    mirrored = places > count // 2
    bins = plain[np.where(mirrored, count - places, places)]
    bins[mirrored] = bins[mirrored].conj()
    return bins


def _sum_of_neighbours(given: Complex, terms: tuple[float, ...], out: Complex) -> None:
    """given: as many bins more than `out` on each side as the window has cosines."""
    count, reach = 2 * len(out), 2 * (len(terms) - 1)
    # Real factors of complex numbers: quicker of their parts.
    parts, weighted = given.view(np.float64), out.view(np.float64)
    np.multiply(parts[reach : reach + count], terms[0], out=weighted)
    beside = np.empty(count)
    for k, term in enumerate(terms[1:], 1):
        below, above = reach - 2 * k, reach + 2 * k
        np.add(parts[below : below + count], parts[above : above + count], out=beside)
        beside *= (-1) ** k * term / 2
        weighted += beside
