"""What was played in a sweep, made ready once for every output that is compared with it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.signal.kept_property import kept_property
from backbench.signal.power import squared
from backbench.signal.sweep_window import Complex, ImpulseWindow, Played, SweepParameters, window_of
from backbench.signal.track import Array

POINTS_PER_OCTAVE = 24
"""Of the grid, which has 1 kHz as a point. The response is evaluated there, not smoothed."""
FLOOR = 1e-5
"""Regularisation re the sweep's own power density: what limits the quotient outside the band."""
USABLE = 0.1
"""The band ends where the played density is 10 dB below that of the sweep's middle."""
BANDWIDTH_MARGIN = 1.25
"""Bins are kept up to this times the sweep's highest frequency: nothing was played above it, and
what is cut off there lies hundreds of the window's resolution cells away from the band."""

NEARLY_ALL = 1 - 1e-4
"""Share of its energy after which a sweep is over."""
BLOCK = 64
"""Samples, to which the middle of the sweep is known: a thousandth of the windows' length."""


@dataclass(frozen=True, eq=False)
class PlayedSweep:
    """A sweep as played, transformed over `size` samples, and what follows from it alone.

    Parameters
    ----------
    rate_hz : float
        Sample rate of the recording, Hz.
    sweep : SweepParameters
    size : int
        Samples of the transform.
    samples : int
        Of an impulse response with the kept bins alone, at a lower rate than rate_hz.
    hz : ndarray of float64, shape (k,)
        Frequencies of the kept bins.
    density : ndarray of float64, shape (k,)
        |X|^2 by kept bin.
    inverse : ndarray of complex128, shape (k,)
        The regularised inverse of X by kept bin.
    lost : ndarray of float64, shape (k,)
        Fraction of a quotient that regularisation takes, by kept bin, 0 to 1.
    cells : Played
        Mean density.
    grid : ndarray of float64, shape (g,)
        Frequencies of the response, Hz, rising.
    middle_s, over_s : float
        When half its energy was played, and nearly all, s.
    window : ImpulseWindow
        About the linear response.
    cell_density : ndarray of float64
        Density by bin of the window's transform.
    """

    rate_hz: float
    sweep: SweepParameters
    size: int
    samples: int
    hz: Array
    density: Array
    inverse: Complex
    lost: Array
    cells: Played
    grid: Array
    middle_s: float
    over_s: float
    window: ImpulseWindow
    cell_density: Array

    @kept_property
    def held_by_window(self) -> Array:
        """Density of the kept bins that are nearest to each bin of the window's transform, summed;
        shape (window.size // 2 + 1,)."""
        nearest = np.rint(self.hz * (self.window.size / self.own_rate_hz)).astype(int)
        last = self.window.size // 2
        # The window may have an odd number of samples, and its last bin lie below half the rate.
        bins = np.minimum(nearest, last)
        return np.asarray(np.bincount(bins, self.density, last + 1), dtype=np.float64)

    @kept_property
    def between_bins(self) -> tuple[NDArray[np.intp], list[Array]]:
        """Of each point of the grid the bin of the window's transform that it lies above, shape
        (g,), and factors of the one below that, of that and of the two above, shape (g,) each:
        Lagrange's, of four points."""
        position = self.grid * self.window.size / self.own_rate_hz
        base = np.clip(np.floor(position).astype(int), 1, self.window.size // 2 - 2)
        t = position - base
        weights = [
            -t * (t - 1) * (t - 2) / 6,
            (t + 1) * (t - 1) * (t - 2) / 2,
            -(t + 1) * t * (t - 2) / 2,
            (t + 1) * t * (t - 1) / 6,
        ]
        return base, weights

    @kept_property
    def grid_density(self) -> Array:
        """Mean density on the grid, shape (g,)."""
        return self.cells.at(self.grid)

    @property
    def step(self) -> float:
        """Samples of the record to one of the impulse response, >= 1."""
        return self.size / self.samples

    @property
    def own_rate_hz(self) -> float:
        """Of the impulse response."""
        return self.rate_hz / self.step

    @property
    def after_s(self) -> float:
        """Length of the window from the arrival on."""
        return self.window.after / self.own_rate_hz

    def passed_s(self, hz: Array) -> Array:
        """When the sweep passed frequencies.

        Parameters
        ----------
        hz : ndarray of float64
            Hz, > 0.

        Returns
        -------
        ndarray of float64
            s from the record's beginning, of the same shape.
        """
        begun = self.middle_s - self.sweep.duration_s / 2
        return np.asarray(begun + self.sweep.scale_s * np.log(hz / self.sweep.start_hz))

    def bins_below(self, hz: float) -> int:
        """Kept bins below a frequency.

        Parameters
        ----------
        hz : float
            Hz, > 0.

        Returns
        -------
        int
        """
        return min(int(hz * self.size / self.rate_hz), len(self.hz))


def transform_size(played: int, recorded: int) -> int:
    """Samples of the transforms of a sweep and of what was recorded of it.

    Parameters
    ----------
    played, recorded : int
        Samples of each.

    Returns
    -------
    int
    """
    from scipy.fft import next_fast_len

    size: int = next_fast_len(max(played, recorded), real=True)
    return size


def played_sweep(
    played: Array,
    length: int,
    rate_hz: float,
    sweep: SweepParameters,
    transformed: Complex | None = None,
) -> PlayedSweep:
    """A sweep made ready for records of up to a length.

    Parameters
    ----------
    played : ndarray of float64, shape (n,)
        What was played, volts or full scale.
    length : int
        Samples of the longest record.
    rate_hz : float
        Sample rate, Hz.
    sweep : SweepParameters
        What was to be played.
    transformed : ndarray of complex128, optional
        The transform of what was played, over transform_size; made where not given.

    Returns
    -------
    PlayedSweep

    Raises
    ------
    Refusal
        Where it is no such sweep.

    Notes
    -----
    The transforms are as long as the longer record: what follows the sweep is then circular.
    Harmonics, which arrive early, stand at its end; noise lies all over it.
    """
    from scipy.fft import rfft

    size = transform_size(len(played), length)
    samples = _samples(size, rate_hz, sweep)
    source = (rfft(played, size) if transformed is None else transformed)[: samples // 2 + 1]
    own_rate_hz = rate_hz * samples / size
    window = window_of(own_rate_hz, sweep, samples)
    places = _sweep_bins(len(source), rate_hz / size, sweep, window.size, own_rate_hz)
    density = squared(source)
    sums = np.concatenate([[0.0], np.cumsum(density)])
    energy = _energy(played)
    level = _pink_level(places, sums, float(energy[-1]) * size / 2)
    cells = _cells(places, density, sums)
    floor = FLOOR * level * places.per_hz
    share = 1 / (density + floor)
    inverse = source.conj()
    parts = inverse.view(np.float64).reshape(-1, 2)
    parts *= share[:, None]
    return PlayedSweep(
        rate_hz=rate_hz,
        sweep=sweep,
        size=size,
        samples=samples,
        hz=places.hz,
        density=density,
        inverse=inverse,
        lost=floor * share,
        cells=cells,
        grid=_grid(_usable(cells, level)),
        middle_s=_played_s(energy, 0.5, rate_hz),
        over_s=_played_s(energy, NEARLY_ALL, rate_hz),
        window=window,
        cell_density=cells.at_logarithms(places.log_of_window),
    )


def _samples(size: int, rate_hz: float, sweep: SweepParameters) -> int:
    """Length of an impulse response with BANDWIDTH_MARGIN times the band, of a fast transform."""
    from scipy import fft

    fraction = min(2 * BANDWIDTH_MARGIN * sweep.stop_hz / rate_hz, 1.0)
    samples: int = fft.next_fast_len(math.ceil(size * fraction), real=True)
    return min(size, samples)


def _energy(played: Array) -> Array:
    """Sum of squares up to the end of each BLOCK of samples."""
    whole, rest = played[: len(played) // BLOCK * BLOCK], played[len(played) // BLOCK * BLOCK :]
    rows = whole.reshape(-1, BLOCK)
    blocks = np.einsum("ij,ij->i", rows, rows)
    return np.cumsum(np.append(blocks, rest @ rest) if len(rest) else blocks)


def _played_s(energy: Array, share: float, rate_hz: float) -> float:
    """When a share of the energy was played, to within a block."""
    return float((energy.searchsorted(share * energy[-1]) + 0.5) * BLOCK / rate_hz)


class _SweepBins(NamedTuple):
    """What follows from the bins of a sweep's transform alone.

    hz: of each kept bin. per_hz: one over it, that of the second bin for the first. octaves: edges
    of parts of the band, Hz, and in_octaves the first bin of each; middles: of the cells, Hz, and
    in_cells the first bin of each, and the end. log_of_window: logarithm of the frequencies of the
    window's transform.
    """

    hz: Array
    per_hz: Array
    octaves: Array
    in_octaves: NDArray[np.intp]
    middles: Array
    in_cells: NDArray[np.intp]
    log_of_window: Array


@lru_cache(maxsize=4)
def _sweep_bins(
    bins: int, step_hz: float, sweep: SweepParameters, window_size: int, own_rate_hz: float
) -> _SweepBins:
    """Kept, because it is the same for every record of a sweep."""
    hz = np.arange(float(bins)) * step_hz
    octaves = np.geomspace(sweep.start_hz, min(sweep.stop_hz, float(hz[-1])), 9)
    count = int(48 * math.log2(sweep.stop_hz / sweep.start_hz))
    edges = sweep.start_hz * 2 ** (np.arange(count + 1) / 48)
    of_window = np.arange(window_size // 2 + 1.0) * (own_rate_hz / window_size)
    places = _SweepBins(
        hz=hz,
        per_hz=1 / np.maximum(hz, hz[1]),
        octaves=octaves,
        in_octaves=np.searchsorted(hz, octaves),
        middles=np.sqrt(edges[:-1] * edges[1:]),
        in_cells=np.searchsorted(hz, edges),
        log_of_window=np.log(np.maximum(of_window, 1e-3)),
    )
    for each in places:
        each.setflags(write=False)
    return places


def _pink_level(places: _SweepBins, sums: Array, total: float) -> float:
    """Density times frequency, which an exponential sweep holds constant. Raises Refusal.

    total: of the density over all bins, kept or not.
    """
    shares = np.diff(sums[places.in_octaves])
    if total == 0 or shares.sum() < 0.8 * total:
        raise Refusal("what was played holds no sweep over the stated band")
    inner = shares[1:-1]
    if inner.max() > 3 * inner.min():
        raise Refusal("what was played is no exponential sweep: its octaves differ in energy")
    octaves = places.octaves
    return float(inner.sum() * places.hz[1] / np.log(octaves[-2] / octaves[1]))


def _cells(places: _SweepBins, density: Array, sums: Array) -> Played:
    """Mean density of what was played in cells of 1/48 octave over the stated band.

    Where a cell is narrower than the bins are apart, the density between the two beside it.
    """
    held, inside = np.diff(sums[places.in_cells]), np.diff(places.in_cells)
    between = np.interp(places.middles, places.hz, density)
    mean = np.where(inside > 0, held / np.maximum(inside, 1), between)
    return Played(places.middles, mean)


def _usable(played: Played, level: float) -> tuple[float, float]:
    """The band in which the sweep was played at strength."""
    strong = np.flatnonzero(played.density * played.hz >= USABLE * level)
    if len(strong) < 2:
        raise Refusal("what was played holds no sweep over the stated band")
    return float(played.hz[strong[0]]), float(played.hz[strong[-1]])


def _grid(band: tuple[float, float]) -> Array:
    first = math.ceil(POINTS_PER_OCTAVE * math.log2(band[0] / 1000))
    last = math.floor(POINTS_PER_OCTAVE * math.log2(band[1] / 1000))
    return np.asarray(1000 * 2 ** (np.arange(first, last + 1) / POINTS_PER_OCTAVE))
