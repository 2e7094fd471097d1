"""Transfer function from an exponential sine sweep and a record of what was played.

The output's spectrum is divided by that of what was played. In the impulse response that this
gives, each harmonic of order k arrives earlier than the linear response by L ln k, with
L = duration / ln(stop / start), because an exponential sweep reaches k times a frequency that
much later; a window about the linear response leaves the harmonics out. (Swept-sine technique
of A. Farina, AES 108th Convention, 2000; cited from memory.)
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from backbench.errors import Refusal
from backbench.signal.sweep_window import (
    Complex,
    Played,
    Record,
    Sweep,
    Window,
    noise_of_ratio,
    window_about,
)
from backbench.signal.track import Array

POINTS_PER_OCTAVE = 24
"""Of the grid, which has 1 kHz as a point. The response is evaluated there, not smoothed."""
FLOOR = 1e-5
"""Regularisation re the sweep's own power density: what limits the quotient outside the band."""
EDGE_POINTS = 6
"""Grid points at the lower edge whose slope is carried on."""
MOST_STEEP = 3.0
USABLE = 0.1
"""The band ends where the played density is 10 dB below that of the sweep's middle."""
LEAST_LINEAR = 0.5
"""Share of the output's energy that the linear response must explain."""


@dataclass(frozen=True, eq=False)
class Transfer:
    """Output over input on a grid of frequencies, arrival removed.

    noise: standard uncertainty of |ratio| from what is in the record besides the linear response.
    arrival_s: delay of the output after the input.
    """

    frequency_hz: Array
    ratio: Complex
    noise: Array
    arrival_s: float


def transfer(
    played: Array,
    recorded: Array,
    rate_hz: float,
    sweep: Sweep,
    least_linear: float = LEAST_LINEAR,
) -> Transfer:
    """The linear transfer function from what was played to what was recorded, shapes (n,), (m,).

    least_linear: share of the output's energy that it must explain, 0 for crosstalk in noise.
    Raises Refusal where `played` is no such sweep or `recorded` doesn't follow it.
    """
    spectra = _spectra(played, recorded, rate_hz)
    level = _pink_level(spectra, rate_hz, sweep)
    cells = _played(spectra, sweep)
    if not recorded.any():
        raise Refusal("the output is silent")
    grid = _grid(_usable(cells, level))
    impulse, window = _impulse(spectra, level, grid, rate_hz, sweep)
    spectrum = window.cut(impulse)
    _refuse_unexplained(spectrum, window, spectra, least_linear)
    ratio = _at(spectrum, grid * window.size / rate_hz)
    record = Record(len(recorded) / rate_hz, _start(played, rate_hz, sweep), rate_hz, sweep)
    noise = noise_of_ratio(impulse, window, record, cells, grid)
    return Transfer(grid, ratio, noise, window.arrival_s(rate_hz, spectra.size))


class _Spectra(NamedTuple):
    """Transforms of what was played and recorded, of `size` samples, and the played density."""

    hz: Array
    source: Complex
    output: Complex
    density: Array
    size: int


def _spectra(played: Array, recorded: Array, rate_hz: float) -> _Spectra:
    """Padded to twice the length, so that what is late doesn't fold onto what is early."""
    from scipy import fft

    size = fft.next_fast_len(2 * max(len(played), len(recorded)), real=True)
    source, output = fft.rfft(played, size), fft.rfft(recorded, size)
    hz = fft.rfftfreq(size, 1 / rate_hz)
    return _Spectra(hz, source, output, np.square(np.abs(source)), size)


def _impulse(
    spectra: _Spectra, level: float, grid: Array, rate_hz: float, sweep: Sweep
) -> tuple[Array, Window]:
    """Impulse response of the quotient, and the window about its linear part.

    Outside the band the quotient is drawn towards how the response goes on there, as a first
    pass tells it, not to nothing: a cut would ring for longer than the window.
    """
    from scipy import fft

    floor = FLOOR * level / np.maximum(spectra.hz, spectra.hz[1])
    crossed = spectra.output * spectra.source.conj()
    impulse = fft.irfft(crossed / (spectra.density + floor), spectra.size)
    window = window_about(int(np.argmax(np.abs(impulse))), rate_hz, sweep, spectra.size)
    first = _at(window.cut(impulse), grid * window.size / rate_hz)
    beyond = _continued(spectra.hz, grid, first) * _delay(window.arrival, spectra.size)
    quotient = (crossed + floor * beyond) / (spectra.density + floor)
    return np.asarray(fft.irfft(quotient, spectra.size)), window


def _continued(frequency: Array, grid: Array, ratio: Complex) -> Complex:
    """The ratio, carried on below the grid by the power of frequency with which it begins."""
    few = min(EDGE_POINTS, len(grid) - 1)
    rise = abs(ratio[few]) / max(abs(ratio[0]), 1e-300)
    steep = math.log(max(rise, 1e-300)) / math.log(grid[few] / grid[0])
    below = np.minimum(frequency / grid[0], 1.0) ** min(max(steep, 0.0), MOST_STEEP)
    return np.asarray(np.interp(frequency, grid, ratio) * below)


def _delay(samples: int, size: int) -> Complex:
    """What a delay does to the bins of a real transform."""
    return np.asarray(np.exp(-2j * np.pi * samples / size * np.arange(size // 2 + 1)))


def _start(played: Array, rate_hz: float, sweep: Sweep) -> float:
    """When the sweep begins in what was played: half its energy lies half its length later."""
    energy = np.cumsum(np.square(played))
    middle = int(np.searchsorted(energy, energy[-1] / 2)) / rate_hz
    return middle - sweep.duration_s / 2


def _pink_level(spectra: _Spectra, rate_hz: float, sweep: Sweep) -> float:
    """Density times frequency, which an exponential sweep holds constant. Raises Refusal."""
    frequency, density = spectra.hz, spectra.density
    top = min(sweep.stop_hz, rate_hz / 2)
    edges = np.geomspace(sweep.start_hz, top, 9)
    shares = np.array([
        density[(frequency >= a) & (frequency < b)].sum()
        for a, b in itertools.pairwise(edges)
    ])  # fmt: skip
    total = density.sum()
    if total == 0 or shares.sum() < 0.8 * total:
        raise Refusal("what was played holds no sweep over the stated band")
    inner = shares[1:-1]
    if inner.max() > 3 * inner.min():
        raise Refusal("what was played is no exponential sweep: its octaves differ in energy")
    return float(inner.sum() * frequency[1] / np.log(edges[-2] / edges[1]))


def _played(spectra: _Spectra, sweep: Sweep) -> Played:
    """Mean density of what was played in cells of 1/48 octave over the stated band."""
    count = int(48 * math.log2(sweep.stop_hz / sweep.start_hz))
    edges = sweep.start_hz * 2 ** (np.arange(count + 1) / 48)
    places = np.searchsorted(spectra.hz, edges)
    filled = np.flatnonzero(np.diff(places))
    sums = np.concatenate([[0.0], np.cumsum(spectra.density)])
    held = np.diff(sums[places])[filled] / np.diff(places)[filled]
    return Played(np.sqrt(edges[:-1] * edges[1:])[filled], held)


def _usable(played: Played, level: float) -> tuple[float, float]:
    """The band in which the sweep was played at strength."""
    strong = np.flatnonzero(played.density * played.hz >= USABLE * level)
    if len(strong) < 2:
        raise Refusal("what was played holds no sweep over the stated band")
    return float(played.hz[strong[0]]), float(played.hz[strong[-1]])


def _refuse_unexplained(spectrum: Complex, window: Window, spectra: _Spectra, least: float) -> None:
    """Raise Refusal where the output is mostly something else than the sweep through a system."""
    bins = np.arange(len(spectra.source)) * (window.size / spectra.size)
    held = np.interp(bins, np.arange(len(spectrum)), np.abs(spectrum))
    total = float(np.sum(np.square(np.abs(spectra.output))))
    explained = float(np.sum(np.square(held) * spectra.density))
    if explained < least * total:
        raise Refusal(
            f"the sweep explains only {100 * explained / total:.0f} % of the output's energy"
        )


def _grid(band: tuple[float, float]) -> Array:
    first = math.ceil(POINTS_PER_OCTAVE * math.log2(band[0] / 1000))
    last = math.floor(POINTS_PER_OCTAVE * math.log2(band[1] / 1000))
    return np.asarray(1000 * 2 ** (np.arange(first, last + 1) / POINTS_PER_OCTAVE))


def _at(spectrum: Complex, position: Array) -> Complex:
    """Four-point Lagrange interpolation at fractional bins; the arrival is at time 0, so smooth."""
    base = np.clip(np.floor(position).astype(int), 1, len(spectrum) - 3)
    t = position - base
    weights = (
        -t * (t - 1) * (t - 2) / 6,
        (t + 1) * (t - 1) * (t - 2) / 2,
        -(t + 1) * t * (t - 2) / 2,
        (t + 1) * t * (t - 1) / 6,
    )
    return np.asarray(sum(w * spectrum[base + k - 1] for k, w in enumerate(weights)))
