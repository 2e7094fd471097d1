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
FLOOR = 1e-6
"""Regularisation re the sweep's own power density: 1e-5 dB within the band, a limit outside."""
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


def transfer(played: Array, recorded: Array, rate_hz: float, sweep: Sweep) -> Transfer:
    """The linear transfer function from what was played to what was recorded, shapes (n,), (m,).

    Raises Refusal where `played` is no such sweep or `recorded` doesn't follow it.
    """
    from scipy import fft

    size = fft.next_fast_len(2 * max(len(played), len(recorded)), real=True)
    source = fft.rfft(played, size)
    density = np.square(np.abs(source))
    frequency = fft.rfftfreq(size, 1 / rate_hz)
    level = _pink_level(frequency, density, rate_hz, sweep)
    cells = _played(frequency, density, sweep)
    output = fft.rfft(recorded, size)
    floor = FLOOR * level / np.maximum(frequency, frequency[1])
    impulse = fft.irfft(output * source.conj() / (density + floor), size)
    window = window_about(int(np.argmax(np.abs(impulse))), rate_hz, sweep, size)
    spectrum = window.cut(impulse)
    _refuse_unexplained(spectrum, window, source, output, size)
    grid = _grid(_usable(cells, level))
    ratio = _at(spectrum, grid * window.size / rate_hz)
    record = Record(len(recorded) / rate_hz, _start(played, rate_hz, sweep), rate_hz, sweep)
    noise = noise_of_ratio(impulse, window, record, cells, grid)
    return Transfer(grid, ratio, noise, window.arrival_s(rate_hz, size))


def _start(played: Array, rate_hz: float, sweep: Sweep) -> float:
    """When the sweep begins in what was played: half its energy lies half its length later."""
    energy = np.cumsum(np.square(played))
    middle = int(np.searchsorted(energy, energy[-1] / 2)) / rate_hz
    return middle - sweep.duration_s / 2


def _pink_level(frequency: Array, density: Array, rate_hz: float, sweep: Sweep) -> float:
    """Density times frequency, which an exponential sweep holds constant. Raises Refusal."""
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


def _played(frequency: Array, density: Array, sweep: Sweep) -> Played:
    """Mean density of what was played in cells of 1/48 octave over the stated band."""
    count = int(48 * math.log2(sweep.stop_hz / sweep.start_hz))
    edges = sweep.start_hz * 2 ** (np.arange(count + 1) / 48)
    places = np.searchsorted(frequency, edges)
    filled = np.flatnonzero(np.diff(places))
    sums = np.concatenate([[0.0], np.cumsum(density)])
    held = np.diff(sums[places])[filled] / np.diff(places)[filled]
    return Played(np.sqrt(edges[:-1] * edges[1:])[filled], held)


def _usable(played: Played, level: float) -> tuple[float, float]:
    """The band in which the sweep was played at strength."""
    strong = np.flatnonzero(played.density * played.hz >= USABLE * level)
    if len(strong) < 2:
        raise Refusal("what was played holds no sweep over the stated band")
    return float(played.hz[strong[0]]), float(played.hz[strong[-1]])


def _refuse_unexplained(
    spectrum: Complex, window: Window, source: Complex, output: Complex, length: int
) -> None:
    """Raise Refusal where the output is mostly something else than the sweep through a system."""
    bins = np.arange(len(source)) * (window.size / length)
    held = np.interp(bins, np.arange(len(spectrum)), np.abs(spectrum))
    total = float(np.sum(np.square(np.abs(output))))
    explained = float(np.sum(np.square(held * np.abs(source))))
    if total == 0:
        raise Refusal("the output is silent")
    if explained < LEAST_LINEAR * total:
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
