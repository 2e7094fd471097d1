"""Mean squares with their variance, and the sums of a spectrum's bins that give them."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from backbench.signal.track import Array


class Square(NamedTuple):
    """A mean square, V^2, with the variance that the record's noise gives it, V^4."""

    value: float
    variance: float

    @property
    def rms(self) -> float:
        """Root mean square, V; 0 where noise has taken the value below 0."""
        return math.sqrt(max(self.value, 0.0))

    @property
    def relative(self) -> float:
        """Relative standard uncertainty of the rms."""
        return math.sqrt(self.variance) / (2 * self.value) if self.value > 0 else math.inf

    @property
    def dof(self) -> float:
        """Degrees of freedom of a noise power of this relative variance."""
        return 2 * self.value**2 / self.variance if self.variance > 0 else math.inf

    @property
    def stands_out(self) -> bool:
        """Whether the value is above 0 by more than three standard deviations."""
        return self.value > 3 * math.sqrt(self.variance)

    @property
    def at_most(self) -> float:
        """What the rms isn't above, with 95 % coverage (one-sided, normal)."""
        return math.sqrt(max(self.value, 0.0) + 1.645 * math.sqrt(self.variance))


def variance_of_sum(power: Array, noise: Array, spread: float) -> float:
    """Variance of a sum of bins, V^4.

    power, noise: V^2 by bin as found and of the noise alone. spread: of the window.
    A bin of noise S has the variance S^2; a line of power P adds 2 P S.
    """
    found = np.sum(np.maximum(2 * power * noise - noise**2, noise**2))
    return float(spread * found)


def line_power(power: Array, noise: Array, spread: float) -> Square:
    """A line's mean square from all bins of its lobe, their noise taken off.

    The sum over the lobe doesn't depend on where between two bins the line lies, nor on a
    slow drift of its frequency within the record.
    """
    value = float(np.sum(power - noise))
    return Square(value, variance_of_sum(power, noise, spread))
