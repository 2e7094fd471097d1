"""Cosine-sum windows of very low side lobes, with their transform in closed form."""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from backbench.signal.kept_property import kept_property
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

MOST_OFFSET = 0.75
"""A line is no further from its greatest bin, noise allowed for."""
_TINY = 1e-12


@dataclass(frozen=True, eq=False)
class Window:
    """A periodic cosine-sum window of n samples.

    Parameters
    ----------
    samples : ndarray of float64, shape (n,)
        The weights.
    terms : tuple of float
        Coefficients a_k of w = sum (-1)^k a_k cos(2 pi k i / n); their number is also the
        half-width of the main lobe in bins.
    total : float
        Sum of the weights.
    energy : float
        Sum of their squares.
    enbw : float
        Equivalent noise bandwidth, bins.
    spread : float
        n sum(w^4) / sum(w^2)^2, by which the window raises the variance of a noise power above
        that of an unweighted record of the same length.
    """

    samples: Array
    terms: tuple[float, ...]
    total: float
    energy: float
    enbw: float
    spread: float

    @kept_property
    def length(self) -> int:
        """Samples that it has."""
        return len(self.samples)

    @kept_property
    def half_width(self) -> int:
        """Half-width of the main lobe, bins."""
        return len(self.terms)

    @kept_property
    def second_moment(self) -> float:
        """Mean squared distance of a lobe's power from its line, bins^2."""
        squares = np.array([2 * self.terms[0] ** 2, *(a**2 for a in self.terms[1:])])
        return float(np.dot(np.arange(self.half_width) ** 2, squares) / squares.sum())

    def kernel(self, offset: Array) -> Array:
        """Magnitude of the window's transform at `offset` bins from its centre, main lobe only.

        The phase there is -pi offset: the window is symmetrical about sample n / 2.

        Parameters
        ----------
        offset : ndarray of float64, shape (k,)
            Bins.

        Returns
        -------
        ndarray of float64, shape (k,)
            Of the unscaled transform, >= 0.
        """
        nearest = np.rint(offset)
        rest = offset - nearest
        rest[np.abs(rest) < _TINY] = _TINY
        # A cosine is two Dirichlet kernels, sin(pi x) / sin(pi x / n) of one numerator but for
        # its sign; that sign cancels the one in the window's definition.
        away = (nearest[:, None] - self._orders) + rest[:, None]
        parts = (1 / np.sin(np.pi / len(self.samples) * away)) @ self._shares
        magnitude: Array = np.abs(np.sin(np.pi * rest)) * np.hypot(parts[:, 0], parts[:, 1])
        return magnitude

    @kept_property
    def _orders(self) -> Array:
        """Places of the kernels that the window is made of, bins."""
        return np.arange(1.0 - self.half_width, self.half_width)

    @kept_property
    def _shares(self) -> Array:
        """Real and imaginary part of each kernel's weight, shape (kernels, 2)."""
        order = self._orders.astype(int)
        terms = np.array(self.terms)[np.abs(order)] * np.where(order == 0, 1.0, 0.5)
        turn = np.pi * order / len(self.samples)
        weights = terms * (-1.0) ** order
        return np.stack([weights * np.cos(turn), weights * np.sin(turn)], axis=1)

    def offset(self, log_ratio: Array) -> Array:
        """Offset of a line from its greatest bin, by what the bins beside that one hold.

        The ratio rises steadily with the offset: read from a table, then corrected once by the
        closed form.

        Parameters
        ----------
        log_ratio : ndarray of float64, shape (k,)
            Logarithm of the magnitude above over that below.

        Returns
        -------
        ndarray of float64, shape (k,)
            Bins, -MOST_OFFSET to MOST_OFFSET.
        """
        ratios, offsets, slopes = self._ratios
        estimate = np.interp(log_ratio, ratios, offsets)
        excess = self._log_ratio(estimate) - log_ratio
        step = excess / np.interp(estimate, offsets, slopes)
        return np.clip(estimate - step, -MOST_OFFSET, MOST_OFFSET)

    def offset_of_one(self, log_ratio: float) -> float:
        """As offset, of one line: without arrays, in a fifth of the time.

        Parameters
        ----------
        log_ratio : float
            As of offset.

        Returns
        -------
        float
            Bins, -MOST_OFFSET to MOST_OFFSET.
        """
        ratios, offsets, slopes = self._listed_ratios
        at = min(max(bisect_right(ratios, log_ratio), 1), len(ratios) - 1)
        share = (log_ratio - ratios[at - 1]) / (ratios[at] - ratios[at - 1])
        share = min(max(share, 0.0), 1.0)
        estimate = offsets[at - 1] + share * (offsets[at] - offsets[at - 1])
        slope = slopes[at - 1] + share * (slopes[at] - slopes[at - 1])
        below, above = self._beside(-1 - estimate), self._beside(1 - estimate)
        step = (math.log(above / below) - log_ratio) / slope
        return min(max(estimate - step, -MOST_OFFSET), MOST_OFFSET)

    def _beside(self, offset: float) -> float:
        """As kernel, at one offset."""
        nearest = round(offset)
        rest = offset - nearest
        if abs(rest) < _TINY:
            rest = _TINY
        turn, real, imaginary = math.pi / len(self.samples), 0.0, 0.0
        for order, cosine, sine in self._listed_shares:
            part = 1 / math.sin(turn * (nearest - order + rest))
            real += part * cosine
            imaginary += part * sine
        return abs(math.sin(math.pi * rest)) * math.hypot(real, imaginary)

    @kept_property
    def _listed_shares(self) -> list[tuple[float, float, float]]:
        """Place and weight, real and imaginary, of each kernel."""
        each = zip(self._orders.tolist(), self._shares.tolist(), strict=True)
        return [(order, cosine, sine) for order, (cosine, sine) in each]

    @kept_property
    def _listed_ratios(self) -> tuple[list[float], list[float], list[float]]:
        ratios, offsets, slopes = (each.tolist() for each in self._ratios)
        return ratios, offsets, slopes

    def _log_ratio(self, offset: Array) -> Array:
        """Of the bin above a line's greatest over the one below: of kernels that both share."""
        on_bin = np.abs(offset) < _TINY
        rest = np.where(on_bin, 0.5, -offset)
        places = np.arange(-self.half_width, self.half_width + 1.0)
        each = 1 / np.sin(np.pi / len(self.samples) * np.add.outer(rest, places))
        # Kernels of the bin above stand from its middle, two bins after those of the bin below.
        above, below = (np.square(some @ self._shares) for some in (each[:, 2:], each[:, :-2]))
        ratio = np.log((above[:, 0] + above[:, 1]) / (below[:, 0] + below[:, 1])) / 2
        return np.where(on_bin, 0.0, ratio)

    @kept_property
    def _ratios(self) -> tuple[Array, Array, Array]:
        """Logarithm of the ratio of the bins beside a line, its offset, and the slope there."""
        offsets = np.linspace(-MOST_OFFSET, MOST_OFFSET, 1501)
        ratios = self._log_ratio(offsets)
        return ratios, offsets, np.gradient(ratios, offsets)


@lru_cache(maxsize=4)
def window(n: int, terms: tuple[float, ...] = SEVEN_TERMS) -> Window:
    """The window of n samples. Kept, because making it costs more than using it.

    Parameters
    ----------
    n : int
        Samples, >= 1.
    terms : tuple of float, optional
        Coefficients (see Window); seven where not given.

    Returns
    -------
    Window
        Its samples are read only.

    References
    ----------
    Albrecht, ICASSP 2001 (seven terms); Nuttall, IEEE Trans. ASSP 29, 1981 (four). Coefficients
    from memory; the tests hold the side lobes that they give.
    """
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
