"""The response in time of what was swept, and its spectrum through the window about it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from backbench.signal.sweep_below import ThroughWindow, carried_on, through_window
from backbench.signal.sweep_excitation import PlayedSweep
from backbench.signal.sweep_window import Complex, SweepParameters, window_of
from backbench.signal.track import Array

ROUNDS = 3
"""In which what lies below the grid, which shows in its first points, is read from them."""
INTERPOLATION_HALF_WIDTH = 32
"""Samples to either side from which one between two is interpolated."""


class SweptImpulse(NamedTuple):
    """An output over what was played, in time.

    Parameters
    ----------
    quotient : ndarray of complex128, shape (k,)
        By kept bin.
    impulse : ndarray of float64, shape (samples,)
        Its response in time, circular.
    peak : int
        Its greatest sample.
    arrival : int
        Sample of the record at which it is greatest.
    continued : ndarray of complex128, shape (k,)
        The response by kept bin, its arrival at time 0, as it goes on beyond the sweep's band.
    unsure : ndarray of float64, shape (g,)
        What that continuation may be off on the sweep's grid, standard uncertainty with the sign
        that `continued` gives it.
    spectrum, beside : ndarray of complex128, shape (window.size // 2 + 1,)
        Of the windowed response about the peak, and of what lies just after the window.
    """

    quotient: Complex
    impulse: Array
    peak: int
    arrival: int
    continued: Complex
    unsure: Array
    spectrum: Complex
    beside: Complex


def swept_impulses(sent: PlayedSweep, transforms: Sequence[Complex]) -> list[SweptImpulse]:
    """Responses in time of outputs of one record.

    Parameters
    ----------
    sent : PlayedSweep
        The sweep.
    transforms : sequence of ndarray of complex128
        Of each output, over sent.size. Finite, not all 0.

    Returns
    -------
    list of SweptImpulse
        One for each, to the same digits whatever others there are.

    Notes
    -----
    Outside the band the quotient is drawn towards how the response goes on there, as a first
    pass tells it, not to nothing: a cut would ring for longer than the window.
    """
    from scipy import fft

    count, width = len(transforms), len(sent.window.weights)
    quotients = np.empty((count, len(sent.inverse)), dtype=np.complex128)
    for row, whole in zip(quotients, transforms, strict=True):
        np.multiply(whole[: len(sent.inverse)], sent.inverse, out=row)
    impulses = fft.irfft(quotients, sent.samples, axis=1)
    peaks = [int(np.argmax(np.abs(impulse))) for impulse in impulses]
    arrivals = [
        _arrival(impulse, peak, sent.step) for impulse, peak in zip(impulses, peaks, strict=True)
    ]
    places = [[peak] for peak in peaks]
    further = [continued(sent, on_grid(sent, cut)) for cut in sent.window.cuts(impulses, places)]
    drawn = fft.irfft(np.stack([sent.lost * beyond for beyond, _ in further]), sent.samples, axis=1)
    for impulse, added, peak in zip(impulses, drawn, peaks, strict=True):
        impulse[peak:] += added[: len(added) - peak]
        impulse[:peak] += added[len(added) - peak :]
    seen = sent.window.cuts(impulses, [[peak, peak + width] for peak in peaks])
    return [
        SweptImpulse(
            quotients[n], impulses[n], peaks[n], arrivals[n], *further[n], *seen[2 * n : 2 * n + 2]
        )
        for n in range(count)
    ]


def on_grid(sent: PlayedSweep, spectrum: Complex) -> Complex:
    """Values on the grid of the spectrum of a windowed response.

    Parameters
    ----------
    sent : PlayedSweep
        The sweep.
    spectrum : ndarray of complex128, shape (window.size // 2 + 1,)
        Its arrival at time 0.

    Returns
    -------
    ndarray of complex128, shape (g,)

    Notes
    -----
    Four-point Lagrange interpolation at fractional bins; the arrival is at time 0, so smooth.
    """
    base, weights = sent.between_bins
    return np.asarray(sum(w * spectrum[base + k - 1] for k, w in enumerate(weights)))


def continued(sent: PlayedSweep, ratio: Complex) -> tuple[Complex, Array]:
    """A ratio as it goes on outside the grid.

    Parameters
    ----------
    sent : PlayedSweep
        The sweep.
    ratio : ndarray of complex128, shape (g,)
        On the grid, its arrival at time 0.

    Returns
    -------
    beyond : ndarray of complex128, shape (k,)
        By kept bin.
    unsure : ndarray of float64, shape (g,)
        What it may be off on the grid, standard uncertainty; below 0 where it goes on as a plain
        power of the frequency, and the other way that it may go on is a network's.
    """
    bins = int(np.searchsorted(sent.hz, sent.grid[0]))
    hz, lost, window = sent.hz[:bins], sent.lost[:bins], _through_window(sent, bins)
    shown, below = ratio, carried_on(hz, sent.grid, ratio)
    plain = below.plain
    for _ in range(ROUNDS if below.is_likely else 0):
        shown = ratio + window.shown(lost * below.network)
        below = carried_on(hz, sent.grid, shown)
    likelier, other = (below.network, below.plain) if below.fits else (plain, below.network)
    beyond = np.asarray(np.interp(sent.hz, sent.grid, shown if below.fits else ratio))
    beyond[:bins] = likelier
    apart = lost * (likelier - other) * below.is_likely
    return beyond, window.uncertainty(apart) * (1 if below.fits else -1)


def _through_window(sent: PlayedSweep, bins: int) -> ThroughWindow:
    """What lies below the grid through the window."""
    return _shown_through(
        sent.own_rate_hz, sent.sweep, sent.samples, sent.grid.tobytes(), bins
    )  # fmt: skip


@lru_cache(maxsize=4)
def _shown_through(
    rate_hz: float, sweep: SweepParameters, samples: int, grid: bytes, bins: int
) -> ThroughWindow:
    """Kept, because it is the same for every record of a sweep. grid: of float64, Hz."""
    window = window_of(rate_hz, sweep, samples)
    return through_window(
        window.weights, window.before, rate_hz=rate_hz, samples=samples,
        grid=np.frombuffer(grid), bins=bins,
    )  # fmt: skip


def _arrival(impulse: Array, peak: int, step: float) -> int:
    """Sample of the record at which the impulse response, of fewer samples, is greatest.

    Interpolated about its own greatest sample: nothing above the sweep's band is in it.
    """
    places = np.arange(math.ceil((peak - 1) * step), math.floor((peak + 1) * step) + 1)
    neighbours = np.arange(peak - INTERPOLATION_HALF_WIDTH, peak + INTERPOLATION_HALF_WIDTH + 1)
    away = np.subtract.outer(places / step, neighbours)
    weights = (
        np.sinc(away) * np.cos(np.pi / 2 * np.clip(away / INTERPOLATION_HALF_WIDTH, -1, 1)) ** 2
    )
    interpolated = weights @ np.take(impulse, neighbours, mode="wrap")
    return int(places[np.argmax(np.abs(interpolated))]) % round(len(impulse) * step)
