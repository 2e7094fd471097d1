"""Transforms of tracks that were recorded together, made in one call.

Two of one length go through the processor's vector unit side by side, to the same digits as one
after the other, in two thirds of the time.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, TypeVar
from weakref import WeakKeyDictionary, WeakSet

import numpy as np
from numpy.typing import NDArray

from backbench.signal.track import Array, Track
from backbench.signal.window import Complex

Number = TypeVar("Number", np.float64, np.complex128)

MOST_SAMPLES = 2**21
"""Of all tracks together: longer ones are transformed one by one, to spare memory."""

_beside: WeakKeyDictionary[Track, WeakSet[Track]] = WeakKeyDictionary()
_plain: WeakKeyDictionary[Track, dict[int, Complex]] = WeakKeyDictionary()
_ahead: WeakKeyDictionary[Track, dict[tuple[int, int, str], Array]] = WeakKeyDictionary()


def recorded_together(tracks: Iterable[Track | None]) -> None:
    """Note which tracks are of one record, so that what is made of one is made of all of them.

    Parameters
    ----------
    tracks : iterable of Track or None
        None stands for a track that a record lacks.
    """
    record = WeakSet(track for track in tracks if track is not None)
    for track in record:
        _beside[track] = record


def alike(track: Track) -> list[Track]:
    """A track and those that were recorded with it, of its length and rate.

    Parameters
    ----------
    track : Track
        The first of the list.

    Returns
    -------
    list of Track
        The track alone where nothing is known of others, or they are too long together.
    """
    count = len(track.volts)
    others = [
        other
        for other in _beside.get(track, ())
        if other is not track and len(other.volts) == count and other.rate_hz == track.rate_hz
    ]
    together = [track, *others]
    return together if len(together) * count <= MOST_SAMPLES else [track]


def weighted_transforms(tracks: list[Track], weights: Array) -> Complex:
    """Transforms of weighted tracks.

    Parameters
    ----------
    tracks : list of Track
        Of one length, at least that of the weights.
    weights : ndarray of float64, shape (n,)
        Factors of the first n samples.

    Returns
    -------
    ndarray of complex128, shape (tracks, n // 2 + 1)
    """
    from scipy.fft import rfft

    count = len(weights)
    rows = np.empty((len(tracks), count))
    # A track with samples that are no numbers is refused when its own turn comes.
    with np.errstate(invalid="ignore"):
        for row, track in zip(rows, tracks, strict=True):
            np.multiply(track.volts[:count], weights, out=row)
    return np.asarray(rfft(rows, axis=1, overwrite_x=True))


def _as_rows(each: list[NDArray[Number]]) -> NDArray[Number]:
    """Arrays of one length as rows: of the array that they are the rows of, where there is one."""
    whole: Any = each[0].base
    if whole is None or whole.shape != (len(each), len(each[0])) or whole.dtype != each[0].dtype:
        return np.stack(each)
    places = [row.__array_interface__["data"][0] for row in (*whole, *each)]
    return whole if places[: len(each)] == places[len(each) :] else np.stack(each)


def transform(track: Track, size: int) -> Complex:
    """The transform of a track as it is, made at the first call for it or one recorded with it.

    Parameters
    ----------
    track : Track
        The record.
    size : int
        Samples of the transform: the track is cut, or filled up with 0.

    Returns
    -------
    ndarray of complex128, shape (size // 2 + 1,)
        Read only; kept as long as the track where tracks are short enough to be made together.
    """
    from scipy.fft import rfft

    kept = _plain.setdefault(track, {})
    if size in kept:
        return kept[size]
    tracks = alike(track)
    if size > MOST_SAMPLES:
        return np.asarray(rfft(track.volts, size))
    made = np.asarray(rfft(_as_rows([one.volts for one in tracks]), size, axis=1))
    made.setflags(write=False)
    for one, bins in zip(tracks, made, strict=True):
        _plain.setdefault(one, {})[size] = bins
    return kept[size]


def at_other_rate(
    track: Track, size: int, count: int, gain: Complex | None = None, behind: str = "nothing"
) -> Array:
    """A track with another number of samples, by way of its transform.

    Those that were recorded with it are made in the same call, and kept until they are asked for.

    Parameters
    ----------
    track : Track
        The record.
    size : int
        Samples of the transform.
    count : int
        Samples that are wanted, in the time of `size`.
    gain : ndarray of complex128, shape (count // 2 + 1,), optional
        By bin, as far as the transform goes; 1 where not given.
    behind : str, optional
        Names the gain: the same for the same one.

    Returns
    -------
    ndarray of float64, shape (count,)
        Times size / count, in the unit of the track.
    """
    from scipy.fft import irfft

    key = (size, count, behind)
    ready = _ahead.setdefault(track, {}).pop(key, None)
    if ready is not None:
        return ready
    tracks = alike(track)
    held = min(count // 2, size // 2) + 1
    bins = _as_rows([transform(one, size) for one in tracks])[:, :held]
    if gain is not None:
        bins = bins * gain
    own, *others = irfft(bins, count, axis=1)
    for one, made in zip(tracks[1:], others, strict=True):
        _ahead.setdefault(one, {})[key] = made
    return np.asarray(own)
