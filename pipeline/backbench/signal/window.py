"""Cosine-sum windows of very low side lobes, with their transform in closed form."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from backbench.signal.track import Array

Complex = NDArray[np.complex128]

SEVEN_TERMS = (
    0.27105140069342, 0.43329793923448, 0.21812299954311, 0.06592544638803,
    0.01081174209837, 0.00077658482522, 0.00001388721735,
)  # fmt: skip
"""Minimum side-lobe sum of seven cosines (Albrecht, ICASSP 2001): side lobes below -180 dB.
Coefficients from memory; the tests hold the side lobes that they give."""

FOUR_TERMS = (0.3635819, 0.4891775, 0.1365995, 0.0106411)
"""Minimum side-lobe sum of four cosines (Nuttall, IEEE Trans. ASSP 29, 1981): below -98 dB.
Coefficients from memory; the tests hold the side lobes that they give."""


@dataclass(frozen=True, eq=False)
class Window:
    """A periodic cosine-sum window of n samples.

    terms: coefficients a_k of w = sum (-1)^k a_k cos(2 pi k i / n); their number is also the
        half-width of the main lobe in bins.
    enbw: equivalent noise bandwidth in bins.
    spread: n sum(w^4) / sum(w^2)^2, by which the window raises the variance of a noise power
        above that of an unweighted record of the same length.
    """

    samples: Array
    terms: tuple[float, ...]
    total: float
    energy: float
    enbw: float
    spread: float

    @property
    def half_width(self) -> int:
        """Half-width of the main lobe, bins."""
        return len(self.terms)

    @property
    def second_moment(self) -> float:
        """Mean squared distance of a lobe's power from its line, bins^2."""
        squares = np.array([2 * self.terms[0] ** 2, *(a**2 for a in self.terms[1:])])
        return float(np.dot(np.arange(self.half_width) ** 2, squares) / squares.sum())

    def kernel(self, offset: Array) -> Array:
        """Magnitude of the window's transform at `offset` bins from its centre, main lobe only.

        The phase there is -pi offset: the window is symmetrical about sample n / 2.
        """
        n = len(self.samples)
        order = np.arange(1 - self.half_width, self.half_width)
        # Each term is two Dirichlet kernels, k bins to either side. Their linear phases differ
        # by (-1)^k exp(+-i pi k / n); the sign cancels the one in the window's definition.
        shares = np.array(self.terms)[np.abs(order)] * np.where(order == 0, 1.0, 0.5)
        factors = shares * np.exp(-1j * np.pi * order / n)
        parts = _dirichlet(np.subtract.outer(offset, order), n) * factors
        magnitude: Array = np.abs(parts.sum(axis=1))
        return magnitude


def _dirichlet(x: Array, n: int) -> Array:
    """sin(pi x) / sin(pi x / n), n where x is 0."""
    ratio: Array = n * np.sinc(x) / np.sinc(x / n)
    return ratio


@lru_cache(maxsize=4)
def window(n: int, terms: tuple[float, ...] = SEVEN_TERMS) -> Window:
    """The window of n samples. Kept, because making it costs more than using it."""
    angle = 2 * np.pi / n * np.arange(n)
    # A cosine sum is a polynomial in the cosine: one cosine instead of one for each term.
    signed = [a * (-1) ** k for k, a in enumerate(terms)]
    samples = np.polynomial.chebyshev.chebval(np.cos(angle), signed)
    samples.setflags(write=False)
    total, energy = float(samples.sum()), float(np.dot(samples, samples))
    fourth = float(np.dot(samples**2, samples**2))
    return Window(
        samples, terms, total, energy, n * energy / total**2, n * fourth / energy**2
    )  # fmt: skip
