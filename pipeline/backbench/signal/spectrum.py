"""One windowed spectrum of a track, made once and read by every metric."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from backbench.signal.kept_property import kept_property
from backbench.signal.power import squared
from backbench.signal.side_by_side import alike, weighted_transforms
from backbench.signal.track import Array, Track
from backbench.signal.window import SEVEN_TERMS, Complex, Window, window


@dataclass(frozen=True, eq=False)
class Spectrum:
    """The windowed transform of n samples, and its power by bin.

    power: V^2 by bin, scaled so that noise and the lobe of a line each sum to their mean square.
    resolution_hz: width of a bin.

    Parameters
    ----------
    bins : ndarray of complex128, shape (n / 2 + 1,)
        The transform.
    window : Window
        By which the samples were weighted; of n samples.
    rate_hz : float
        Sample rate, Hz, > 0.
    """

    bins: Complex
    window: Window
    rate_hz: float

    @kept_property
    def length(self) -> int:
        """Samples that the transform was taken over."""
        return len(self.window.samples)

    @kept_property
    def resolution_hz(self) -> float:
        """Width of a bin, Hz."""
        return self.rate_hz / self.length

    @kept_property
    def power(self) -> Array:
        """Mean square by bin, V^2, shape (n // 2 + 1,)."""
        power = squared(self.bins)
        power *= 2 / (self.length * self.window.energy)
        return power

    @property
    def mean(self) -> float:
        """Steady part, V."""
        return float(self.bins[0].real) / self.window.total

    def slice_of(self, low_hz: float, high_hz: float) -> slice:
        """Bins whose centre lies in the band, both ends included.

        Parameters
        ----------
        low_hz, high_hz : float
            Ends of the band, Hz.

        Returns
        -------
        slice
            Of bins; empty where none lies in the band.
        """
        low = math.ceil(low_hz / self.resolution_hz - 1e-9)
        high = math.floor(high_hz / self.resolution_hz + 1e-9)
        return slice(max(low, 0), min(high + 1, len(self.bins)))


_kept: WeakKeyDictionary[Track, dict[tuple[float, ...], Spectrum]] = WeakKeyDictionary()


def spectrum(track: Track, terms: tuple[float, ...] = SEVEN_TERMS) -> Spectrum:
    """The spectrum of a track, made at the first call for it or for one that was recorded with it.

    Parameters
    ----------
    track : Track
        The record.
    terms : tuple of float, optional
        Coefficients of the window (see Window); seven where not given.

    Returns
    -------
    Spectrum

    Notes
    -----
    The last samples are left out where their number has large prime factors. Kept as long as the
    track.
    """
    from scipy.fft import prev_fast_len

    if terms not in _kept.setdefault(track, {}):
        weights = window(prev_fast_len(len(track.volts), real=True), terms)
        wanted = [one for one in alike(track) if terms not in _kept.setdefault(one, {})]
        made = weighted_transforms(wanted, weights.samples)
        for one, bins in zip(wanted, made, strict=True):
            _kept[one][terms] = Spectrum(bins, weights, one.rate_hz)
    return _kept[track][terms]


class Lines(NamedTuple):
    """Sinusoids read at known fractional bins.

    Parameters
    ----------
    square : ndarray of float64, shape (k,)
        Squared rms of each line, V^2, noise included.
    noise : ndarray of float64, shape (k,)
        Mean square that noise of 1 V^2 a bin adds to square.
    values : ndarray of complex128, shape (k,)
        Of the transform, at the bins nearest to them.
    nearest : ndarray of int, shape (k,)
        These bins.
    """

    square: Array
    noise: Array
    values: Complex
    nearest: NDArray[np.intp]

    @property
    def phase(self) -> Array:
        """Of each line at the record's middle, rad, shape (k,)."""
        return np.asarray(np.angle(self.values) + np.pi * (self.nearest % 2))

    def noise_at(self, positions: Array, noise: Array) -> Array:
        """What a record's noise adds to the lines.

        Parameters
        ----------
        positions : ndarray of float64, shape (k,)
            Where the lines were read, fractional bins.
        noise : ndarray of float64, shape (bins,)
            Mean noise power by bin, V^2.

        Returns
        -------
        ndarray of float64, shape (k,)
            Mean square, V^2.
        """
        return np.asarray(self.noise * noise[np.rint(positions).astype(int)])


def read_lines(spectrum: Spectrum, positions: Array) -> Lines:
    """Amplitude and phase of lines at fractional bins.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    positions : ndarray of float64, shape (k,)
        Fractional bins within the spectrum.

    Returns
    -------
    Lines
        Arrays of shape (k,).
    """
    return read_lines_of_each([spectrum], [positions])[0]


def read_lines_of_each(spectra: Sequence[Spectrum], positions: Sequence[Array]) -> list[Lines]:
    """As read_lines, of several spectra in hardly more than the time of one.

    Parameters
    ----------
    spectra : sequence of Spectrum
        With one window; one at least.
    positions : sequence of ndarray of float64, shape (k,)
        Of each, as of read_lines.

    Returns
    -------
    list of Lines
        Arrays of shape (k,).
    """
    every, ends = np.concatenate(positions), list(accumulate(map(len, positions), initial=0))
    nearest = np.rint(every).astype(int)
    rows = [slice(*pair) for pair in pairwise(ends)]
    values = np.concatenate(
        [one.bins[nearest[row]] for one, row in zip(spectra, rows, strict=True)]
    )
    own = 1 / spectra[0].window.kernel(every - nearest) ** 2
    square = 2 * (values.real**2 + values.imag**2) * own
    noise = spectra[0].length * spectra[0].window.energy * own
    return [Lines(square[row], noise[row], values[row], nearest[row]) for row in rows]


def peak_positions(spectrum: Spectrum, peaks: NDArray[np.int_]) -> Array:
    """Fractional bins of the lines whose greatest bins are `peaks`, from the bins on either side.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    peaks : ndarray of int, shape (k,)
        Bins, 1 <= peak < last bin.

    Returns
    -------
    ndarray of float64, shape (k,)
        Fractional bins, within 0.75 of the peaks.

    Notes
    -----
    The ratio of the two rises steadily with the line's offset from the middle bin, and the
    window's closed form inverts it.
    """
    beside = np.abs(spectrum.bins[np.add.outer((-1, 1), peaks)])
    if not beside.all():
        beside[:, (beside == 0).any(axis=0)] = 1.0
    return peaks + spectrum.window.offset(np.log(beside[1] / beside[0]))


def peak_position(spectrum: Spectrum, peak: int) -> float:
    """Fractional bin of one line; see peak_positions.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    peak : int
        The greatest bin, 1 <= peak < last bin.

    Returns
    -------
    float
        Fractional bin.
    """
    below, above = (abs(complex(spectrum.bins[peak + k])) for k in (-1, 1))
    ratio = above / below if below > 0 and above > 0 else 1.0
    return peak + spectrum.window.offset_of_one(math.log(ratio))
