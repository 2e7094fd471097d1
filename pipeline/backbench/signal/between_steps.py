"""Where a smooth curve that was measured at a few steps can run between two of them.

Three straight lines bracket it: the chord between the two steps, and the lines through the steps
beside each, carried on. A curve that bends one way between the steps lies between its chord and
one of the others; one with a knee between them lies between the two that are carried on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

HIDDEN = 0.05
"""Share of the steps' distance by which a curve may still leave the three lines: what random
amplifiers leave over at 10 % distortion (tests/bench/coverage_limits.py)."""


class Place(NamedTuple):
    """A point of a curve.

    Parameters
    ----------
    x, y : float
        Of the curve, in any units.
    at_most : bool
        Whether y is only known to be at most this.
    """

    x: float
    y: float
    at_most: bool = False


class Bracket(NamedTuple):
    """What the curve allows, anywhere between the two alike.

    Parameters
    ----------
    low, high : float
        In the unit of the value sought.
    """

    low: float
    high: float

    @property
    def middle(self) -> float:
        """Half way."""
        return (self.low + self.high) / 2

    @property
    def u(self) -> float:
        """Standard deviation of a rectangle of that width (GUM 4.3.7)."""
        return (self.high - self.low) / math.sqrt(12)

    def reaching(self, place: float | None) -> Bracket:
        """As far as a place, where it isn't that far already.

        Parameters
        ----------
        place : float or None
            In the unit of the value sought; None adds nothing.

        Returns
        -------
        Bracket
        """
        return self if place is None else Bracket(self.low, max(self.high, place))


def crossing_between(steps: Sequence[Place], i: int, target: float) -> Bracket:
    """Where a curve that runs one way from step i to the next can pass a level.

    Parameters
    ----------
    steps : sequence of Place
        The curve by rising x, no x twice.
    i : int
        Position of the step before the crossing, 0 to ``len(steps) - 2``.
    target : float
        The level, between the values of steps i and i + 1; either may be the greater.

    Returns
    -------
    Bracket
        In x, within the two steps.

    Notes
    -----
    A step without a usable neighbour beside it says nothing of the slope there: then the bracket
    reaches to whichever step the curve may hug.
    """
    below, above = steps[i], steps[i + 1]
    chord = _reached(below, _slope(below, above), target)
    places = [chord]
    before, after = _line_before(steps, i), _line_after(steps, i)
    places.append(above.x if before is None else _onward(below, before, above, target))
    places.append(below.x if after is None else _backward(above, after, below, target))
    if below.at_most or above.at_most:
        places.append(above.x if above.y > below.y else below.x)
    hidden = HIDDEN * (above.x - below.x)
    low, high = min(places) - hidden, max(places) + hidden
    if len({round(place, 12) for place in places}) == 1:
        low = high = chord
    return Bracket(max(low, below.x), min(high, above.x))


def knee_before(steps: Sequence[Place], i: int, target: float) -> float | None:
    """Where the line through the two steps beyond step i, carried back, meets a level below them.

    Parameters
    ----------
    steps : sequence of Place
        The curve by rising x, no x twice.
    i : int
        Position of the step before.
    target : float
        The level.

    Returns
    -------
    float or None
        In x, between step i and the next; None where it doesn't meet it there.
    """
    after, above = _line_after(steps, i), steps[i + 1]
    if after is None or after <= 0:
        return None
    met = _reached(above, after, target)
    width = above.x - steps[i].x
    return min(met + HIDDEN * width, above.x) if steps[i].x < met < above.x else None


def _slope(one: Place, other: Place) -> float:
    return (other.y - one.y) / (other.x - one.x)


def _reached(at: Place, slope: float, target: float) -> float:
    return at.x + (target - at.y) / slope if slope else math.inf


def _line_before(steps: Sequence[Place], i: int) -> float | None:
    usable = i > 0 and not (steps[i - 1].at_most or steps[i].at_most)
    return _slope(steps[i - 1], steps[i]) if usable else None


def _line_after(steps: Sequence[Place], i: int) -> float | None:
    usable = i + 2 < len(steps) and not (steps[i + 1].at_most or steps[i + 2].at_most)
    return _slope(steps[i + 1], steps[i + 2]) if usable else None


def _onward(below: Place, slope: float, above: Place, target: float) -> float:
    """Where the line before the lower step reaches the level; the upper step if it never does."""
    return _reached(below, slope, target) if slope * (above.y - below.y) > 0 else above.x


def _backward(above: Place, slope: float, below: Place, target: float) -> float:
    """Where the line beyond the upper step reaches it, going back; the lower step if never."""
    return _reached(above, slope, target) if slope * (above.y - below.y) > 0 else below.x


def value_between(
    steps: Sequence[Place], i: int, fraction: float, slope_outside: float | None = None
) -> Bracket:
    """What a smooth curve can be between step i and the next.

    Parameters
    ----------
    steps : sequence of Place
        The curve by rising x, no x twice.
    i : int
        Position of the step below, 0 to ``len(steps) - 2``.
    fraction : float
        Of the steps' distance in x, 0 to 1.
    slope_outside : float, optional
        The slope that the curve is known to have beyond its ends. Without it a missing neighbour
        adds nothing.

    Returns
    -------
    Bracket
        In y. Where the slope has one sign on both sides it stays between the two steps' values.

    Notes
    -----
    A curve that bends one way lies on one side of both lines that are carried on, so that the one
    nearer the chord bounds it.
    """
    below, above = steps[i], steps[i + 1]
    width = above.x - below.x
    chord = _slope(below, above)
    before, after = _line_before(steps, i), _line_after(steps, i)
    before = slope_outside if before is None else before
    after = slope_outside if after is None else after
    values = [below.y + fraction * width * chord]
    if before is not None:
        values.append(below.y + fraction * width * before)
    if after is not None:
        values.append(above.y - (1 - fraction) * width * after)
    low, high = min(values), max(values)
    on_chord, *carried_on = values
    if len(carried_on) == 2 and all(value <= on_chord for value in carried_on):
        low = max(carried_on)
    if len(carried_on) == 2 and all(value >= on_chord for value in carried_on):
        high = min(carried_on)
    if all(slope is None or slope * chord > 0 for slope in (before, after)):
        low, high = max(low, min(below.y, above.y)), min(high, max(below.y, above.y))
    return Bracket(low, high)
