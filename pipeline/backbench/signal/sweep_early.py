"""What arrives before the linear response of a sweep, and hence isn't part of it.

A system answers after it is driven, its harmonics arrive much earlier than its linear response.
What a gap, a jump, a change of level or a line takes from the sweep or adds to it lies to either
side of the linear response alike: of an exponential sweep with the scale L, what happens in an
instant at the frequency f is spread over sqrt(L / f) or more. Its half before the arrival tells
of the half that the response's window can't leave out.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np

from backbench.signal.power import squared
from backbench.signal.sweep_excitation import POINTS_PER_OCTAVE, PlayedSweep
from backbench.signal.sweep_window import HALF_WIDTH, around, mean_about
from backbench.signal.track import Array

GUARD_S = 2.5e-3
"""Left out next to the arrival, where delays of the system itself and a clock that is 0.1 % off
may lie; over twice as much it fades in."""
NOISE_CELLS = 5.0
"""Half-width, in resolution cells, over which noise is averaged where that is the wider."""
CLEAR = 4.0
"""Times the power of noise from which something arrives early: noise alone varies by less."""
EDGE_LEFT = 1.5e-4
"""What the sweep's ends leave there of a wire at least, re the response (0.001 dB; computed)."""
OF_WIRE = 2.0
"""Times what the sweep's ends leave of a wire that they may leave of another system."""
MEET_OCTAVES = 1 / 3
PADDED = 4
"""Length of a transform re what is transformed."""


def early_arrivals(
    sent: PlayedSweep,
    impulse: Array,
    peak: int,
    magnitude: Array,
    of_wire: Callable[[], Array],
) -> Array:
    """Magnitude of what arrives early, re what was played, on the grid.

    Parameters
    ----------
    sent : PlayedSweep
        What was played.
    impulse : ndarray of float64, shape (m,)
        Response, circular.
    peak : int
        Its arrival.
    magnitude : ndarray of float64, shape (g,)
        Of the response.
    of_wire : callable
        Gives what arrives early of a wire, whose magnitude is 1 (see early_of_wire), ndarray of
        float64, shape (g,); asked only where something arrives early.

    Returns
    -------
    ndarray of float64, shape (g,)
        >= 0; 0 where it isn't clear of the noise and of what the sweep's own ends leave.
    """
    early, noise = _before(sent, impulse, peak)
    least = CLEAR * noise + (EDGE_LEFT * magnitude) ** 2
    if not (early > least).any():
        return np.zeros(len(early))
    left = np.maximum(OF_WIRE * of_wire(), EDGE_LEFT)
    least = CLEAR * noise + (left * magnitude) ** 2
    return np.asarray(np.sqrt(np.where(early > least, early - noise, 0.0)))


def early_of_wire(sent: PlayedSweep, impulse: Array) -> Array:
    """Magnitude of what the sweep's own ends leave before the arrival of a wire, on the grid.

    Parameters
    ----------
    sent : PlayedSweep
        What was played.
    impulse : ndarray of float64, shape (m,)
        Response of a wire, circular, its arrival at 0.

    Returns
    -------
    ndarray of float64, shape (g,)
        Re what was played.
    """
    return np.asarray(np.sqrt(_early(sent, _powers_before(sent, impulse, [0])[0])))


def early_and_late(sent: PlayedSweep, early: Array) -> Array:
    """As much as arrives early or may arrive late, within the window of the response.

    Parameters
    ----------
    sent : PlayedSweep
        What was played.
    early : ndarray of float64, shape (g,)
        Of early_arrivals.

    Returns
    -------
    ndarray of float64, shape (g,)
        >= early.

    Notes
    -----
    What comes in an instant, as a click does, lies before the arrival of higher frequencies and
    after that of lower ones, of which the window holds those that were played so much earlier.
    """
    from scipy.ndimage import maximum_filter1d

    if not early.any():
        return early
    octaves = sent.after_s / (sent.sweep.scale_s * math.log(2))
    reach = min(math.ceil(POINTS_PER_OCTAVE * octaves), len(early) - 1)
    density = sent.grid_density
    # Parts that meet take each other off at single frequencies, before and after not at the same.
    near = 2 * math.ceil(POINTS_PER_OCTAVE * MEET_OCTAVES) + 1
    power = maximum_filter1d(np.square(early) * density, near, mode="constant")
    padded = np.concatenate([power, np.zeros(reach)])
    ahead = maximum_filter1d(padded, reach + 1, origin=-((reach + 1) // 2), mode="constant")
    return np.asarray(np.sqrt(ahead[: len(early)] / density))


def _before(sent: PlayedSweep, impulse: Array, peak: int) -> tuple[Array, Array]:
    """Power of early arrivals and of noise through the same window, on the grid."""
    window = sent.window
    later = peak + len(window.weights) + window.before
    early, noise = _powers_before(sent, impulse, [peak, later])
    resolved = sent.own_rate_hz / window.before
    wide = np.maximum(NOISE_CELLS * resolved, HALF_WIDTH * sent.grid)
    return _early(sent, early), mean_about(noise, _cell(sent), sent.grid, wide)


def _early(sent: PlayedSweep, power: Array) -> Array:
    """Power of early arrivals on the grid, from that by bin."""
    half = np.full(len(sent.grid), sent.own_rate_hz / sent.window.before)
    return mean_about(power, _cell(sent), sent.grid, half)


def _cell(sent: PlayedSweep) -> float:
    return sent.own_rate_hz / _size(sent.window.before)


def _powers_before(sent: PlayedSweep, impulse: Array, places: list[int]) -> Array:
    """Power by bin of what a response has before some places, a row for each."""
    from scipy import fft

    before = sent.window.before
    weights = sent.window.weights[:before] * _faded(before, sent.own_rate_hz)
    pieces = [around(impulse, at - before, at) for at in places]
    return squared(fft.rfft(np.stack(pieces) * weights, _size(before), axis=1))


def _size(before: int) -> int:
    from scipy import fft

    size: int = fft.next_fast_len(PADDED * before, real=True)
    return size


@lru_cache(maxsize=4)
def _faded(before: int, rate_hz: float) -> Array:
    """Factors of so many samples before an arrival, the last of them left out."""
    fade = np.clip(np.arange(before, 0, -1) / rate_hz / GUARD_S - 1, 0, 1)
    faded = np.asarray(0.5 - 0.5 * np.cos(np.pi * fade))
    faded.setflags(write=False)
    return faded
