"""What arrives before the linear response of a sweep, and hence isn't part of it.

A system answers after it is driven, its harmonics arrive much earlier than its linear response.
What a gap, a jump, a change of level or a line takes from the sweep or adds to it lies to either
side of the linear response alike: of an exponential sweep with the scale L, what happens in an
instant at the frequency f is spread over sqrt(L / f) or more. Its half before the arrival tells
of the half that the response's window can't leave out.
"""

from __future__ import annotations

import math

import numpy as np

from backbench.signal.power import squared
from backbench.signal.sweep_excitation import POINTS_PER_OCTAVE, PlayedSweep
from backbench.signal.sweep_window import HALF_WIDTH, mean_about
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
    sent: PlayedSweep, impulse: Array, peak: int, magnitude: Array, of_wire: Array
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
    of_wire : ndarray of float64, shape (g,)
        What arrives early of a wire, whose magnitude is 1 (see early_of_wire).

    Returns
    -------
    ndarray of float64, shape (g,)
        >= 0; 0 where it isn't clear of the noise and of what the sweep's own ends leave.
    """
    early, noise = _before(sent, impulse, peak)
    left = np.maximum(OF_WIRE * of_wire, EDGE_LEFT)
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
    return np.asarray(np.sqrt(_before(sent, impulse, 0)[0]))


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

    octaves = sent.after_s / (sent.sweep.scale_s * math.log(2))
    reach = min(math.ceil(POINTS_PER_OCTAVE * octaves), len(early) - 1)
    density = sent.cells.at(sent.grid)
    # Parts that meet take each other off at single frequencies, before and after not at the same.
    near = 2 * math.ceil(POINTS_PER_OCTAVE * MEET_OCTAVES) + 1
    power = maximum_filter1d(np.square(early) * density, near, mode="constant")
    padded = np.concatenate([power, np.zeros(reach)])
    ahead = maximum_filter1d(padded, reach + 1, origin=-((reach + 1) // 2), mode="constant")
    return np.asarray(np.sqrt(ahead[: len(early)] / density))


def _before(sent: PlayedSweep, impulse: Array, peak: int) -> tuple[Array, Array]:
    """Power of early arrivals and of noise through the same window, on the grid."""
    from scipy import fft

    window, rate_hz = sent.window, sent.own_rate_hz
    before_s = np.arange(window.before, 0, -1) / rate_hz
    fade = np.clip(before_s / GUARD_S - 1, 0, 1)
    weights = window.weights[: window.before] * (0.5 - 0.5 * np.cos(np.pi * fade))

    size = fft.next_fast_len(PADDED * window.before, real=True)

    def power(place: int) -> Array:
        piece = np.take(impulse, np.arange(place - window.before, place), mode="wrap")
        return squared(fft.rfft(piece * weights, size))

    cell, resolved = rate_hz / size, rate_hz / window.before
    wide = np.maximum(NOISE_CELLS * resolved, HALF_WIDTH * sent.grid)
    early = mean_about(power(peak), cell, sent.grid, np.full(len(sent.grid), resolved))
    later = power(peak + len(window.weights) + window.before)
    return early, mean_about(later, cell, sent.grid, wide)
