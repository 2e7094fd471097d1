"""Where the first lines of a mains frequency are looked for in a spectrum."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.signal.track import Array

OFF_NOMINAL = 0.01
LINES = 10
_MULTIPLES = np.arange(1.0, LINES + 1)


class PlacesOfLines(NamedTuple):
    """Where lines are looked for.

    Parameters
    ----------
    first : ndarray of int, shape (k,)
        Each one's first bin.
    bins : ndarray of int, shape (k, m)
        All of its bins, the last one again where others have more.
    """

    first: NDArray[np.intp]
    bins: NDArray[np.intp]


@lru_cache(maxsize=8)
def places_of_lines(nominal_hz: float, width_hz: float, count: int) -> PlacesOfLines:
    """Where the first multiples of a mains frequency are looked for.

    Parameters
    ----------
    nominal_hz : float
        The frequency, Hz, > 0.
    width_hz : float
        Of a bin, Hz, > 0.
    count : int
        Bins that there are.

    Returns
    -------
    PlacesOfLines
        Of those that the spectrum holds; kept, as records of one length have the same.
    """
    centre = _MULTIPLES * nominal_hz / width_hz
    reach = np.maximum(OFF_NOMINAL * centre, 1.0)
    first, stop = np.ceil(centre - reach), np.floor(centre + reach) + 1
    held = stop + 1 < count
    return PlacesOfLines(first[held].astype(np.intp), all_bins(first[held], stop[held]))


def all_bins(first: Array, stop: Array) -> NDArray[np.intp]:
    """Bins of ranges, a row for each.

    Parameters
    ----------
    first, stop : ndarray of float64, shape (k,)
        Each range's first bin and the one after its last, first < stop.

    Returns
    -------
    ndarray of int, shape (k, m)
        The last one again where other ranges have more.
    """
    most = int((stop - first).max(initial=1.0))
    bins = np.minimum(np.add.outer(first, np.arange(most)), stop[:, None] - 1)
    return bins.astype(np.intp)


class PlacesAlone(NamedTuple):
    """Where a line of one mains frequency can't be taken for one of another.

    Parameters
    ----------
    multiple : ndarray of int, shape (k,)
        Which multiples.
    centre, reach : ndarray of float64, shape (k,)
        Their places, and how far lines may reach there, bins.
    bins : ndarray of int, shape (k, m)
        In which each is looked for, the last one again where others have more.
    middle : ndarray of int, shape (k,)
        The bin in the middle of each.
    """

    multiple: NDArray[np.intp]
    centre: Array
    reach: Array
    bins: NDArray[np.intp]
    middle: NDArray[np.intp]


@lru_cache(maxsize=16)
def places_alone(
    half: int, width_hz: float, count: int, mains_hz: float, other_hz: float, quiet: bool
) -> PlacesAlone:
    """Where lines of one mains frequency are that none of another would be taken for.

    Parameters
    ----------
    half : int
        Of a lobe, bins.
    width_hz : float
        Of a bin, Hz, > 0.
    count : int
        Bins that there are.
    mains_hz, other_hz : float
        The one frequency and the other, Hz, > 0.
    quiet : bool
        Whether nothing plays.

    Returns
    -------
    PlacesAlone
        Kept, as records of one length have the same.
    """
    hz, step = mains_hz * _MULTIPLES, other_hz / width_hz
    centre, reach = hz / width_hz, half + 0.2 * OFF_NOMINAL * hz
    within = OFF_NOMINAL / 4 * centre + 1
    away: Array = np.abs(centre - np.rint(centre / step) * step)
    alone = away >= 2 * reach
    if quiet:
        # With nothing playing it is enough that no lobe of the other's lines reaches here.
        alone |= away >= half + 2 * within
    alone &= (centre + 2 * reach <= count) & (centre >= 2 * half)
    multiple, centre, reach, within = (a[alone] for a in (_MULTIPLES, centre, reach, within))
    bins = all_bins(np.floor(centre - within), np.minimum(np.floor(centre + within) + 1, count))
    return PlacesAlone(multiple.astype(np.intp), centre, reach, bins, centre.astype(np.intp))
