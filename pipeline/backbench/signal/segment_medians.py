"""The middle value of each of many segments of values, for several rows at once."""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from backbench.signal.track import Array

Number = TypeVar("Number", np.float64, np.int32)


class Segments(NamedTuple):
    """Ranges that values are parted into, one after the other.

    Parameters
    ----------
    parts : list of (int, int, int)
        Of each its first value, the one after its last, and which of its values in order is the
        middle one, of an even number the lower of the two.
    middles : ndarray of int, shape (segments,)
        The middle ones, counted from the first of all values.
    widths : ndarray of int, shape (segments,)
        How many values each holds.
    """

    parts: list[tuple[int, int, int]]
    middles: NDArray[np.int_]
    widths: NDArray[np.int_]

    @classmethod
    def between(cls, ends: list[int]) -> Segments:
        """The segments that end where the next one begins.

        Parameters
        ----------
        ends : list of int
            0, and where each segment ends, rising.

        Returns
        -------
        Segments
        """
        parts = [(a, b, (b - a - 1) // 2) for a, b in pairwise(ends)]
        middles = np.array([first + middle for first, _, middle in parts])
        return cls(parts, middles, np.diff(ends))

    def medians(self, values: Array) -> Array:
        """The middle value of each segment.

        Parameters
        ----------
        values : ndarray of float64, shape (rows, n)
            Not below 0.

        Returns
        -------
        ndarray of float64, shape (rows, segments)
            In the unit of the values.

        Notes
        -----
        They are sought among the values rounded to single precision, whose bits put them in order
        as whole numbers: that takes half the time. The rounding keeps the order, so that a value
        which alone is rounded to the middle one is the middle one itself.
        """
        rounded = values.astype(np.float32).view(np.int32)
        middles = np.repeat(self._parted(rounded.copy()), self.widths, axis=1)
        found = np.flatnonzero(middles == rounded)
        if len(found) > len(values) * len(self.parts):
            return self._parted(values.copy())
        return values.ravel()[found].reshape(len(values), -1)

    def _parted(self, values: NDArray[Number]) -> NDArray[Number]:
        """Values at the middles, of values that may be left in another order."""
        for first, last, middle in self.parts:
            values[:, first:last].partition(middle)
        return values[:, self.middles]
