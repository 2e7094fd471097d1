"""What the steps of samples add to a record, by how much noise there is to blur them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from backbench.signal.kept_property import kept_property
from backbench.signal.track import Array

STEPS = 1 / 12
"""Mean square of an evenly spread rounding error, in squared steps."""
TRIANGULAR = 1 / 4
"""The same with triangular dither, the most that is in use: q^2/12 + q^2/6."""
LEAST_NOISE = 0.16
"""Mean square of all noise, in squared steps, below which steps are not dithered: what rectangular
dither, the least that is in use, leaves is 1/6."""


class Stepped:
    """A record whose samples may lie in steps, what noise there is known by bin.

    Whatever is of this kind has `noise`, mean noise power by bin from 0 Hz to half the sample rate,
    V^2, and `step_v`, the step that the samples use, V; 0 where there is none.
    """

    if TYPE_CHECKING:

        @property
        def noise(self) -> Array: ...
        @property
        def step_v(self) -> float: ...

    @kept_property
    def all_noise(self) -> float:
        """Mean square of all noise, V^2."""
        return float(self.noise.sum())

    @kept_property
    def steps(self) -> float:
        """The most that the samples' steps may add to lines, V^2."""
        return lines_of_steps(self.all_noise, self.step_v)

    @kept_property
    def is_dithered(self) -> bool:
        """Whether the record's noise blurs the steps of its samples."""
        return is_dithered(self.all_noise, self.step_v)

    @kept_property
    def small_signal_error(self) -> float:
        """How far the steps may change the gain of what is smaller than they are, relative."""
        return small_signal_error(self.all_noise, self.step_v)


def is_dithered(noise: float, step: float) -> bool:
    """Whether a record's noise is enough to make noise of the error of its steps.

    Parameters
    ----------
    noise : float
        Mean square of all noise from 0 Hz to half the sample rate, V^2.
    step : float
        Of the samples, V; 0 where there is none.

    Returns
    -------
    bool
    """
    return noise >= LEAST_NOISE * step**2


def lines_of_steps(noise: float, step: float) -> float:
    """The most that the steps may add to lines of a record, as a mean square.

    Parameters
    ----------
    noise : float
        Mean square of all noise from 0 Hz to half the sample rate, V^2.
    step : float
        Of the samples, V; 0 where there is none.

    Returns
    -------
    float
        V^2.

    Notes
    -----
    Without noise all of q^2/12 may fall on the harmonics of a tone. Gaussian noise of standard
    deviation s before the rounding takes the error's part that follows the signal down by
    exp(-2 pi^2 s^2 / q^2) in amplitude (the characteristic function at 1/q: theory of quantisation
    by Widrow, from memory); uniform and triangular dither take it down further.
    """
    return step**2 * STEPS * _blurred(noise, step) ** 2


def small_signal_error(noise: float, step: float) -> float:
    """How far steps may change the gain of what is smaller than they are, relative.

    Parameters
    ----------
    noise : float
        Mean square of all noise from 0 Hz to half the sample rate, V^2.
    step : float
        Of the samples, V; 0 where there is none.

    Returns
    -------
    float
        Greatest change, >= 0, at most 1.

    Notes
    -----
    The mean of a rounded value rises by 1 + 2 cos(2 pi x / q) exp(-2 pi^2 s^2 / q^2) + ... of its
    own rise, x the steady value and s the deviation of Gaussian noise before the rounding (theory
    of quantisation by Widrow, from memory).
    """
    return min(2 * _blurred(noise, step), 1.0)


def _blurred(noise: float, step: float) -> float:
    """What Gaussian noise leaves of the error's part that follows the signal, in amplitude."""
    if step <= 0:
        return 0.0
    # What rounding itself adds to the record's noise came after the noise that blurs it.
    before = max(noise / step**2 - STEPS, 0.0)
    return math.exp(-2 * math.pi**2 * before)
