"""Markers in a long recording: short chirps that survive any gain, polarity and delay."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from backbench.signal.track import Array

MARKER_S = 0.25
FROM_HZ, TO_HZ = 800.0, 4000.0
LEAST_LIKENESS = 0.5


def marker(rate_hz: float) -> Array:
    """The chirp, peak 1: rising evenly, eased in and out."""
    time = np.arange(round(MARKER_S * rate_hz)) / rate_hz
    phase = 2 * np.pi * (FROM_HZ * time + (TO_HZ - FROM_HZ) / (2 * MARKER_S) * time**2)
    return np.asarray(np.sin(phase) * np.hanning(len(time)))


def find_markers(samples: Array, rate_hz: float) -> Array:
    """Times of all markers in samples of shape (n,), in seconds, rising.

    Correlation with the chirp over the levels of both, so that only the shape counts.
    """
    from scipy.signal import find_peaks, oaconvolve

    mark = marker(rate_hz)
    mark = mark / np.linalg.norm(mark)
    if len(samples) < len(mark):
        return np.zeros(0)
    crossed = oaconvolve(samples, mark[::-1], mode="valid")
    total = np.concatenate([[0.0], np.cumsum(np.square(samples))])
    energy = np.maximum(total[len(mark) :] - total[: -len(mark)], 0.0)
    floor = 1e-9 * float(total[-1]) + 1e-30
    # Ends of 0, so that a marker at the very beginning or end is a peak too.
    likeness = np.pad(np.abs(crossed) / np.sqrt(energy + floor), 1)
    peaks, _ = find_peaks(
        likeness, height=LEAST_LIKENESS, distance=max(1, round(0.5 * MARKER_S * rate_hz))
    )
    return np.asarray((peaks - 1) / rate_hz)


def markers_in_turn(blocks: Iterable[Array], rate_hz: float) -> Array:
    """As find_markers, of samples that come in blocks one after the other."""
    margin = round(MARKER_S * rate_hz)
    kept, first, done = np.zeros(0), 0, 0  # first: of what is kept; done: up to there told
    times: list[Array] = []
    for block in blocks:
        kept = np.concatenate([kept, block])
        # A marker is told once what follows it, and might be likelier, is there too.
        settled = first + len(kept) - 2 * margin
        if settled > done:
            times.append(_between(kept, first, rate_hz, done, settled))
            done = settled
            kept, first = kept[max(done - margin - first, 0) :], max(done - margin, first)
    times.append(_between(kept, first, rate_hz, done, first + len(kept)))
    return np.concatenate(times)


def _between(samples: Array, first: int, rate_hz: float, start: int, stop: int) -> Array:
    """Times of markers at samples start to stop of a recording, of which `first` is the first."""
    places = np.rint(find_markers(samples, rate_hz) * rate_hz) + first
    return np.asarray(places[(places >= start) & (places < stop)] / rate_hz)
