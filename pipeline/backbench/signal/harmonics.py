"""The harmonics of a tone, one by one and as sums."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.signal.kept_property import kept_property
from backbench.signal.power import STANDING, MeanSquare
from backbench.signal.track import Array


class Parts(NamedTuple):
    """Sums over harmonics.

    Parameters
    ----------
    number : int
        How many there are.
    noise, hum : float
        Of what noise has at the lines, and of the mains lines that may hide in them, V^2.
    seen : float
        Of what is seen at each, V^2; of its noise where that is more.
    """

    number: int
    noise: float
    hum: float
    seen: float


class _Listed(NamedTuple):
    """Of each harmonic its order, its mean square, that of the noise and of the mains line, these
    two together, and the sum of their squares."""

    orders: list[int]
    square: list[float]
    noise: list[float]
    hum: list[float]
    disturbance: list[float]
    floor: list[float]


@dataclass(frozen=True, eq=False)
class Harmonics:
    """Harmonics by order.

    Parameters
    ----------
    orders : ndarray of int, shape (k,)
        Rising, from 2.
    square : ndarray of float64, shape (k,)
        Debiased mean square, V^2 (may be below 0 by noise).
    noise : ndarray of float64, shape (k,)
        Mean square that the noise has at the line, and that the samples' steps may have, V^2.
    hum : ndarray of float64, shape (k,)
        Mean square of a mains line that may hide in it, V^2.
    blind : ndarray of bool, shape (k,)
        Whether that rests on nothing but the harmonic itself.
    samples : float
        Degrees of freedom of the noise.
    lost : ndarray of float64, shape (k,), or None
        By how much the tone's wavering may have moved each, V^2, which is in the noise too: all of
        them at once. None where it moved none.
    """

    orders: NDArray[np.int_]
    square: Array
    noise: Array
    hum: Array
    blind: NDArray[np.bool_]
    samples: float
    lost: Array | None = None

    def one(self, order: int) -> MeanSquare:
        """The harmonic of an order that there is.

        Parameters
        ----------
        order : int
            One of the orders.

        Returns
        -------
        MeanSquare
            V^2.
        """
        return self._one_by_one[order]

    @kept_property
    def _one_by_one(self) -> dict[int, MeanSquare]:
        each = zip(*self._each, strict=True)
        return {
            order: MeanSquare(square, floor, 2 * disturbance, self.samples)
            for order, square, _, _, disturbance, floor in each
        }

    def total(self, first: int, last: int) -> MeanSquare:
        """Sum of the harmonics that there are within a range of orders.

        Parameters
        ----------
        first : int
            Lowest order.
        last : int
            Highest order.

        Returns
        -------
        MeanSquare
            V^2.
        """
        return self._sum(first, last, 1)

    def every_second(self, first: int, last: int) -> MeanSquare:
        """Sum of every second harmonic of those that there are within a range of orders.

        Parameters
        ----------
        first : int
            Lowest order; it and all that differ from it by an even number count.
        last : int
            Highest order.

        Returns
        -------
        MeanSquare
            V^2.
        """
        return self._sum(first, last, 2)

    def _sum(self, first: int, last: int, step: int) -> MeanSquare:
        every = self._each
        chosen = slice(bisect_left(every.orders, first), bisect_right(every.orders, last), step)
        square, disturbance = every.square[chosen], every.disturbance[chosen]
        floor, whole = sum(every.floor[chosen]), sum([p for p in square if p > 0])
        # The slope that the harmonics found give; where there are none, that of their mean.
        if self.lost is not None:
            together = self._lost_each[chosen]
            floor += sum(together) ** 2 - sum([moved * moved for moved in together])
        if whole > 0:
            pairs = zip(square, disturbance, strict=True)
            mean = sum([p * d for p, d in pairs if p > 0]) / whole
        else:
            mean = sum(disturbance) / len(disturbance) if disturbance else math.nan
        return MeanSquare(sum(square), floor, 2 * mean, self.samples)

    @kept_property
    def squares(self) -> dict[int, float]:
        """Debiased mean square by order, V^2."""
        return dict(zip(self._each.orders, self._each.square, strict=True))

    @kept_property
    def _each(self) -> _Listed:
        """So few that plain numbers are quicker than arrays."""
        orders, square, noise, hum = (
            a.tolist() for a in (self.orders, self.square, self.noise, self.hum)
        )
        pairs = list(zip(noise, hum, strict=True))
        together, floor = [n + h for n, h in pairs], [n * n + h * h for n, h in pairs]
        return _Listed(orders, square, noise, hum, together, floor)

    @kept_property
    def _lost_each(self) -> list[float]:
        return [] if self.lost is None else self.lost.tolist()

    @kept_property
    def taken_out(self) -> list[int]:
        """Which stand out and could not be mains lines altogether: none of them is noise.

        Counted from the first.
        """
        each = zip(self._each.square, self._each.noise, self._each.hum, self.blind.tolist(),
                   strict=True)  # fmt: skip
        return [
            k for k, (square, noise, hum, blind) in enumerate(each)
            if square > STANDING * noise and not (blind and square <= STANDING * hum)
        ]  # fmt: skip

    def hidden_in(self, k: int, share: float) -> float:
        """Mean square of the line that may hide in one of them.

        Parameters
        ----------
        k : int
            Which, counted from the first.
        share : float
            Of the most that such a line may have, which it is taken to have.

        Returns
        -------
        float
            V^2; at most all that is seen there.
        """
        return min(self._each.hum[k] * share, self._each.square[k])

    @kept_property
    def perhaps_hum(self) -> float:
        """Mean square of those that stand out and could be mains lines altogether, V^2."""
        return float(self.square[self.blind & (self.square > STANDING * self.noise)].sum())

    def parts_of(self, only: int | None) -> Parts:
        """What hides in harmonics, as sums.

        Parameters
        ----------
        only : int or None
            One of the orders; None for all together.

        Returns
        -------
        Parts
            V^2.
        """
        if only is None:
            return self._all_parts
        every, at = self._each, self._each.orders.index(only)
        noise = every.noise[at]
        return Parts(1, noise, every.hum[at], max(every.square[at], noise))

    @kept_property
    def _all_parts(self) -> Parts:
        _, square, noise, hum, _, _ = self._each
        return Parts(len(noise), sum(noise), sum(hum), sum(map(max, square, noise)))

    @kept_property
    def with_hum(self) -> bool:
        """Whether mains lines are known that may hide in any of them."""
        return any(self._each.hum)

    def up_to(self, last: int) -> Harmonics:
        """The harmonics up to an order.

        Parameters
        ----------
        last : int
            Highest order, at least 2.

        Returns
        -------
        Harmonics
            Those of them that there are; the same ones for the same order.
        """
        if last > len(self.orders):
            return self
        kept = self._up_to.get(last)
        if kept is None:
            kept = self._up_to[last] = self._first(slice(last - 1))
        return kept

    @kept_property
    def _up_to(self) -> dict[int, Harmonics]:
        return {}

    def _first(self, few: slice) -> Harmonics:
        return Harmonics(
            orders=self.orders[few],
            square=self.square[few],
            noise=self.noise[few],
            hum=self.hum[few],
            blind=self.blind[few],
            samples=self.samples,
            lost=None if self.lost is None else self.lost[few],
        )


BESIDE = 6.0
"""Standard deviations of the noise above which a line stands beside a harmonic."""
LOST = 1e-3
"""Share of a harmonic that its middle may not show, where the tone wanders a little."""


def beside(own: float, whole: MeanSquare) -> float:
    """Mean square of what stands in the lobe of a harmonic beside it.

    Parameters
    ----------
    own : float
        Mean square of the harmonic, V^2, > 0.
    whole : MeanSquare
        That of all in its lobe, V^2.

    Returns
    -------
    float
        V^2; 0 where noise or a wandering tone explains the difference.
    """
    rest, floor = whole.value - own, math.sqrt(whole.floor)
    least = max(BESIDE * floor + math.sqrt(2 * own * floor), LOST * own)
    return rest if rest > least else 0.0


def beats(harmonics: Harmonics, whole: Callable[[], Array]) -> float:
    """Variance that mains lines under harmonics add to a sum of powers.

    Two lines a and b that the record doesn't tell apart show a^2 + b^2 + 2 a b cos, which a longer
    one would average to their sum. Where nothing tells how strong a line may be, the sum is
    uncertain by what is seen at the harmonic and by its beat with all that stands in its lobe.

    Parameters
    ----------
    harmonics : Harmonics
        Of the tone.
    whole : callable
        Gives the mean square of all that stands in the lobe of each, and of others behind, V^2;
        asked where one is blind.

    Returns
    -------
    float
        V^4.
    """
    seen = np.maximum(harmonics.square, 0.0)
    known = 2 * seen * harmonics.hum
    if harmonics.blind.any():
        beside = np.maximum(whole()[: len(seen)] - seen, 0.0)
        known = np.where(harmonics.blind, seen**2 + 2 * seen * beside, known)
    return float(known.sum())
