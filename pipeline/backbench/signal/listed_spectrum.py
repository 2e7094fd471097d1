"""A tone in a spectrum that something else has worked out, under a window that isn't known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from backbench.signal.harmonics import Harmonics
from backbench.signal.power import MeanSquare
from backbench.signal.track import Array

LOBE = 5
"""Bins to either side of a line that hold its main lobe under the windows in use, flat tops
included: the widest of them reach 5 (common practice, no source)."""
UNEVEN = 0.2
"""How far a frequency may be from its place among even steps, in steps: printed digits."""
SKIRTS = 10.0
"""Bins beside a line's lobe that hold so many times the power of the median are its skirts."""


@dataclass(frozen=True, eq=False)
class ListedTone:
    """A tone and what stands beside it.

    Parameters
    ----------
    hz : float
        As found, Hz.
    square : MeanSquare
        Of the fundamental, in the square of the spectrum's unit times the window's factor, which
        ratios don't have.
    harmonics : Harmonics
        In the same unit.
    residual : MeanSquare or None
        All but the fundamental within the band; None where the spectrum doesn't cover it.
    skirts : bool
        Whether the window's skirts reach beyond the lobe, so that they are in the residual.
    """

    hz: float
    square: MeanSquare
    harmonics: Harmonics
    residual: MeanSquare | None
    skirts: bool


def listed_tone(
    hz: Array, square: Array, tone_hz: float, last: int, band_hz: tuple[float, float]
) -> ListedTone:
    """A tone, its harmonics and the rest, from the bins' squared magnitudes.

    Parameters
    ----------
    hz, square : ndarray of float64, shape (n,)
        Frequencies, rising in even steps, and squared magnitudes.
    tone_hz : float
        Where the tone is looked for, within a hundredth or the lobe of a line.
    last : int
        Highest order of harmonics.
    band_hz : (float, float)
        Of the residual.

    Returns
    -------
    ListedTone
        The sums of bins over a line's lobe stand to each other as the lines' mean squares whatever
        the window and wherever the line lies between bins (Parseval).

    Raises
    ------
    ValueError
        Where the steps aren't even, are too wide, or no line stands where the tone should.
    """
    step = _step(hz)
    if tone_hz < 4 * LOBE * step:
        raise ValueError("the frequencies are too far apart to tell the tone's harmonics apart")
    first = _place(hz, step, tone_hz)
    reach = max(LOBE, int(0.01 * tone_hz / step))
    if not 0 <= first < len(hz):
        raise ValueError("the tone lies outside the table")
    window = slice(max(first - reach, 0), first + reach + 1)
    peak = window.start + int(np.argmax(square[window]))
    if not LOBE <= peak < len(hz) - LOBE:
        raise ValueError("the tone stands at the end of the table")
    lobe = slice(peak - LOBE, peak + LOBE + 1)
    centre = float(np.dot(hz[lobe], square[lobe]) / (square[lobe].sum() or 1.0))
    tone, noise = _line(square, peak)
    if tone <= SKIRTS * noise:
        raise ValueError("no line stands at the tone's frequency")
    places = {n: _place(hz, step, n * centre) for n in range(2, last + 1)}
    inside = {n: k for n, k in places.items() if k + LOBE < len(hz)}
    fundamental = MeanSquare(tone, _variance(noise), 2 * _variance(noise) ** 0.5)
    rest, skirts = _residual(hz, square, peak, noise, band_hz)
    return ListedTone(centre, fundamental, _harmonics(square, inside), rest, skirts)


def _step(hz: Array) -> float:
    if len(hz) < 8 * LOBE:
        raise ValueError("too few frequencies for a spectrum")
    even = np.linspace(hz[0], hz[-1], len(hz))
    step = float(hz[-1] - hz[0]) / (len(hz) - 1)
    if step <= 0 or np.abs(hz - even).max() > UNEVEN * step:
        raise ValueError("the frequencies don't rise in even steps")
    return step


def _place(hz: Array, step: float, wanted: float) -> int:
    return round((wanted - float(hz[0])) / step)


def _line(square: Array, k: int) -> tuple[float, float]:
    """Sum over a line's lobe less the noise beside it, and the mean of that noise in a bin."""
    beside = np.concatenate([
        square[max(k - 3 * LOBE, 0) : max(k - LOBE, 0)], square[k + LOBE + 1 : k + 3 * LOBE + 1],
    ])  # fmt: skip
    noise = float(beside.mean()) if len(beside) else 0.0
    total = float(square[max(k - LOBE, 0) : k + LOBE + 1].sum())
    return total - (2 * LOBE + 1) * noise, noise


def _variance(noise: float) -> float:
    """Of the noise in a lobe's sum; a window makes neighbouring bins alike, about two by two."""
    return 2 * (2 * LOBE + 1) * noise**2


def _harmonics(square: Array, places: dict[int, int]) -> Harmonics:
    lines = [_line(square, k) for k in places.values()]
    count = len(places)
    return Harmonics(
        orders=np.array([*places], dtype=int),
        square=np.array([line for line, _ in lines]),
        noise=np.sqrt(np.array([_variance(noise) for _, noise in lines])),
        hum=np.zeros(count),
        blind=np.zeros(count, dtype=bool),
        samples=float(4 * LOBE),
    )


def _residual(
    hz: Array, square: Array, peak: int, noise: float, band_hz: tuple[float, float]
) -> tuple[MeanSquare | None, bool]:
    """All but the tone's lobe within a band, the noise beside it in its place."""
    low, high = band_hz
    step = _step(hz)
    if hz[0] > low + step or hz[-1] < high - step:
        return None, False
    inside = (hz >= low) & (hz <= high)
    middle = float(np.median(square[inside]))
    inside[peak - LOBE : peak + LOBE + 1] = False
    rest = square[inside]
    value = float(rest.sum()) + (2 * LOBE + 1) * noise
    variance = 2 * float(np.square(np.minimum(rest, SKIRTS * middle)).sum())
    return MeanSquare(value, variance), noise > SKIRTS * middle
