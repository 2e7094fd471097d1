"""What lies between the tones of a multitone record: distortion, hum and noise together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.background import degrees_of_freedom
from backbench.signal.power import MeanSquare, noise_sum
from backbench.signal.spectrum import peak_positions, read_lines
from backbench.signal.tone import BAND_HZ, EDGE, PASS_BAND
from backbench.signal.tone_set import ToneSet
from backbench.signal.track import Array

STANDING = 7.0
"""A greatest bin stands out above ln(bins) plus this, times the noise: noise alone gets there
once in a thousand records."""
BETWEEN_BINS = 0.7
"""The least that a line half-way between two bins shows in them, of one upon a bin (a window of
seven terms: 0.89; of four terms: 0.82; computed)."""
MOST_CANDIDATES = 16
EDGE_STANDING = 5.0
"""Beside a tone's bins this many times the noise is a line: noise alone gets there in fewer than
one of a thousand (a mean of six bins or so, of which about three are independent)."""


class Product(NamedTuple):
    """The strongest line that isn't a tone.

    Parameters
    ----------
    frequency_hz : float
        Hz.
    square : MeanSquare
        V^2.
    """

    frequency_hz: float
    square: MeanSquare


def residual_between_tones(tones: ToneSet, stated_hz: Sequence[float] = ()) -> MeanSquare:
    """Mean square of all but the tones, 20 Hz to 20 kHz.

    Parameters
    ----------
    tones : ToneSet
        Of the record.
    stated_hz : sequence of float, optional
        The tones as stated, Hz, whose common period tells where their products fall.

    Returns
    -------
    MeanSquare
        V^2.

    Raises
    ------
    Refusal
        For a record whose sample rate doesn't reach 20 kHz.

    Notes
    -----
    In the tones' own bins the noise beside them stands in, and what products beside them reach of
    these bins, each in proportion to what is seen of it. Products that fall on a tone, or nearer to
    one than the record tells apart, can't be seen and are not counted.
    """
    spectrum = tones.spectrum
    if spectrum.rate_hz * PASS_BAND * EDGE < BAND_HZ[1]:
        raise Refusal(
            f"a sample rate of {in_text(spectrum.rate_hz, 'Hz', 6)} doesn't reach 20 kHz; "
            "record at 44.1 kHz or more"
        )
    band = spectrum.slice_of(*BAND_HZ)
    noise = tones.without_tones(tones.noise, band)
    filled = float((tones.noise[band] - noise).sum())
    left = noise_sum(tones.power_beside(band), noise, spectrum.window.spread)
    samples = degrees_of_freedom(float(tones.positions[0]), spectrum.window.spread)
    step = _common_bins(tones, stated_hz)
    cut, variance = _cut_by_tones(tones, step)
    value = left.value + filled + cut
    floor = left.floor + 2 * filled**2 / samples + variance + _beside_lobes(tones, step)
    return MeanSquare(value, floor, samples=2 * value**2 / floor if floor > 0 else math.inf)


def _beside_lobes(tones: ToneSet, step: float) -> float:
    """Variance, V^4, for lines that are cut by the edge of a tone's bins, such as the mains'.

    What is seen of them just outside may be nearly all of the line, or the foot of one that lies
    inside and isn't counted. Products at known places, `step` bins apart, are left out: they are
    made whole.
    """
    spectrum, half, width = tones.spectrum, tones.half, tones.spectrum.window.half_width
    first = np.concatenate([tones.positions - half - width, tones.positions + half])
    bins = np.ceil(first).astype(int)[:, None] + np.arange(width + 1)
    beside = (bins <= (first + width)[:, None]) & (bins < len(spectrum.bins)) & (bins > half)
    bins = np.where(beside, bins, 0)
    beside &= tones.beside[bins]
    if step > half:
        beside &= np.abs(bins - step * np.rint(bins / step)) > width
    seen, noise = (
        np.where(beside, each[bins], 0.0).sum(axis=1) for each in (spectrum.power, tones.noise)
    )
    return float(np.sum((seen - noise)[seen > EDGE_STANDING * noise] ** 2))


def _cut_by_tones(tones: ToneSet, step: float) -> tuple[float, float]:
    """Mean square of products, `step` bins apart, that lies in the tones' own bins, V^2, and its
    variance, V^4."""
    spectrum, half = tones.spectrum, tones.half
    if step <= half:
        return 0.0, 0.0
    orders = np.arange(1, math.floor(2 * half / step) + 1)
    away = np.concatenate([-orders, orders]) * step
    positions = np.unique(np.round(np.add.outer(tones.positions, away).ravel(), 6))
    last = min(BAND_HZ[1] / spectrum.resolution_hz, len(spectrum.bins) - 1 - 2 * half)
    positions = positions[(positions > 2 * half) & (positions < last)]
    apart = np.abs(np.subtract.outer(positions, tones.positions)).min(axis=1)
    positions = positions[apart > half]
    lobe = np.arange(-spectrum.window.half_width, spectrum.window.half_width + 1)
    bins = np.rint(positions).astype(int)[:, None] + lobe
    weights = np.square(spectrum.window.kernel((positions[:, None] - bins).ravel()))
    weights = weights.reshape(bins.shape)
    share = (weights * ~tones.beside[bins]).sum(axis=1) / weights.sum(axis=1)
    lines = read_lines(spectrum, positions)
    noise = lines.noise_at(positions, tones.noise)
    cut = float(np.sum(share * (lines.square - noise)))
    return cut, float(np.sum(share**2 * (noise**2 + 2 * noise * np.maximum(lines.square, 0))))


def _common_bins(tones: ToneSet, stated_hz: Sequence[float]) -> float:
    """Distance of the multiples that all tones and their products stand at, bins; 0: none known."""
    if len(stated_hz) != len(tones.positions):
        return 0.0
    thousandths = np.rint(1e3 * np.array(stated_hz)).astype(int)
    common_hz = float(np.gcd.reduce(thousandths)) / 1e3
    stretch = float(tones.positions.sum()) / float(np.sum(stated_hz))
    return common_hz * stretch


def beating(tones: ToneSet) -> float:
    """How much what is between the tones may vary in time by the beats of its own lines.

    Parameters
    ----------
    tones : ToneSet
        Of the record.

    Returns
    -------
    float
        Relative standard deviation of its rms over the record, as if each line were noise.
    """
    band = tones.spectrum.slice_of(*BAND_HZ)
    power = tones.power_beside(band)
    squares = float(np.einsum("i,i->", power, power))
    return math.sqrt(tones.spectrum.window.spread * squares) / (2 * float(power.sum()))


def greatest_product(tones: ToneSet) -> Product:
    """The strongest line in 20 Hz to 20 kHz that isn't a tone.

    Parameters
    ----------
    tones : ToneSet
        Of the record.

    Returns
    -------
    Product
        Hz and V^2. Where none stands out of the noise, the strongest bin, whose square then doesn't
        stand out.
    """
    spectrum = tones.spectrum
    band = spectrum.slice_of(*BAND_HZ)
    band = slice(band.start, min(band.stop, len(spectrum.power) - 1))
    left = tones.power_beside(band)
    candidates = strongest_peaks(spectrum.power, left, band.start)
    positions = np.maximum(peak_positions(spectrum, candidates), candidates - 0.5)
    positions = np.minimum(positions, candidates + 0.5)
    lines = read_lines(spectrum, positions)
    best = int(np.argmax(lines.square))
    position, peak = float(positions[best]), int(candidates[best])
    near = float(lines.noise[best]) * float(tones.noise[peak]) + tones.steps
    # Among many products the noise reads too high to be taken off; it widens the figure instead.
    value = float(lines.square[best])
    least = near * (math.log(band.stop - band.start) + STANDING)
    floor = (least if value < least else near) ** 2
    samples = degrees_of_freedom(position, spectrum.window.spread)
    return Product(position * spectrum.resolution_hz, MeanSquare(value, floor, 2 * near, samples))


def strongest_peaks(power: Array, left: Array, start: int) -> NDArray[np.intp]:
    """Bins of the peaks that may be of the strongest line, the greatest first.

    Parameters
    ----------
    power : ndarray of float64, shape (n,)
        V^2 by bin.
    left : ndarray of float64, shape (k,)
        The same of the bins that are looked at, neither the first nor the last of all, 0 where one
        doesn't count.
    start : int
        The first of these bins.

    Returns
    -------
    ndarray of int, shape (k,)
        At most MOST_CANDIDATES.

    Notes
    -----
    Bins next to a tone's lobe rise with its foot: only a peak among its neighbours is a line.
    """
    given = left
    while True:
        # The greatest bin is nearly always a peak; where it is a foot, the next greatest is asked.
        greatest = int(left.argmax())
        level = float(left[greatest])
        if level == 0 or _are_peaks(power, np.array([start + greatest]))[0]:
            break
        left = left.copy() if left is given else left
        left[greatest] = 0.0
    # A line between two bins shows less in either than one of its strength upon a bin.
    high = start + np.flatnonzero(left >= BETWEEN_BINS * level)
    high = high[_are_peaks(power, high)] if level > 0 else high
    order = np.argsort(-left[high - start])[:MOST_CANDIDATES]
    return np.asarray(high[order])


def _are_peaks(power: Array, bins: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Whether bins hold as much as those on either side of them."""
    here = power[bins]
    return np.asarray((here >= power[bins - 1]) & (here >= power[bins + 1]))
