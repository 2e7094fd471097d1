"""What makes a record unfit to be measured, told before anything is measured."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.track import Array, Track
from backbench.signal.word_length import few_levels, sample_step, word_bits

SHORTEST_S = 0.25
LEAST_BITS = 16
ROUNDED_BITS = 0.01
MOST_AT_FULL_SCALE = 1e-3
MOST_CRESTS, WIDTH = 16, 12.0
"""So many crests of a short burst may reach full scale by noise; steps below it that are looked at:
eight times those that count as full scale."""
LEAST_ALONE, ALONE, NEAR = 5, 4, 1e-3
"""So many samples at full scale, and so many times those in the last thousandth below it, are
clipped: of crests that reach it a hundredth lies so near (closed form)."""
MOSTLY = 0.5
HARDLY_EVER = 1e-9
"""Chance of a run of equal samples in a record of noise from which it is a gap."""


def check_record(track: Track) -> None:
    """Raises Refusal where no figure of the track could be honest.

    Parameters
    ----------
    track : Track
        The record.

    Raises
    ------
    Refusal
        For samples that use fewer than 16 bits, a record below 0.25 s, samples that are not finite,
        silence, and a converter that clipped.
    """
    if track.bits is not None and track.bits < LEAST_BITS:
        raise Refusal(_too_short_words(f"{track.bits}-bit samples"))
    seconds = len(track.volts) / track.rate_hz
    if seconds < SHORTEST_S:
        raise Refusal(
            f"too short: {in_text(seconds, 's')} where at least "
            f"{in_text(SHORTEST_S, 's')} are needed"
        )
    low, high = track.lowest_and_highest
    if not np.isfinite(low) or not np.isfinite(high):
        raise Refusal("some samples are not finite numbers: the file is damaged")
    if low == high:
        raise Refusal(
            "silence: every sample is the same, so nothing was recorded; check cables, input "
            "and recording level, and record again"
        )
    used = word_bits(track)
    if used < LEAST_BITS - ROUNDED_BITS and not few_levels(track):
        raise Refusal(_too_short_words(f"samples that use {in_text(used)} bits of the file's"))
    _check_range(track, low, high)


def _too_short_words(what: str) -> str:
    return f"{what}: their steps add distortion of their own; record with {LEAST_BITS} bits or more"


def _check_range(track: Track, low: float, high: float) -> None:
    """A converter that clips repeats its end value; one that just reaches it can't be told."""
    # Samples of a short word are clipped at its own end. Few levels may be the waveform itself.
    step, highest = 2 * track.full_scale_v / 2.0 ** (track.bits or 24), max(high, -low)
    if track.bits is not None and highest >= track.full_scale_v - 1.5 * sample_step(track):
        step = step if few_levels(track) else sample_step(track)
    end = track.full_scale_v - 1.5 * step
    if highest < end:
        return
    for volts in (track.volts, -track.volts):
        reached = volts >= end
        count = int(np.count_nonzero(reached))
        often = count > MOST_AT_FULL_SCALE * len(volts) or _stand_alone(volts, end, step, count)
        if often or bool(np.any(reached[1:] & reached[:-1])):
            raise Refusal(
                f"the converter clipped: the record runs at full scale "
                f"({in_text(track.full_scale_v, 'V', 4)} peak); use a wider input range"
            )


def _stand_alone(volts: Array, end: float, step: float, count: int) -> bool:
    """Whether the samples at the end are many, and more than those just below: of a crest that
    reaches it half as many (closed form). A few are many where hardly one comes near."""
    if count < LEAST_ALONE:
        return False
    near = int(np.count_nonzero(volts >= (1 - NEAR) * end)) - count
    below = int(np.count_nonzero(volts >= end - WIDTH * step)) - count
    return ALONE * near < count or (count > MOST_CRESTS and count > below)


def refuse_gap(track: Track) -> None:
    """Refuse a record of noise in which the recorder left out samples.

    Parameters
    ----------
    track : Track
        In which nothing plays.

    Raises
    ------
    Refusal
        Where more samples running are the same than the noise of the record ever gives, judged by
        the share of neighbours that are the same elsewhere.
    """
    alike = track.volts[1:] == track.volts[:-1]
    if not _may_be_long(alike):
        return
    edges = np.flatnonzero(np.diff(np.concatenate([[False], alike, [False]]).astype(np.int8)))
    runs = edges[1::2] - edges[::2]
    if not len(runs) or np.count_nonzero(alike) > MOSTLY * len(alike):
        # Noise below the steps of the samples seldom leaves one.
        return
    longest = int(np.argmax(runs))
    run, count = int(runs[longest]), len(alike)
    elsewhere = int(np.count_nonzero(alike)) - run
    share = max(elsewhere, 1) / count
    if run < 2 or count * share**run > HARDLY_EVER:
        return
    at_s = float(edges[2 * longest]) / track.rate_hz
    raise Refusal(
        f"a gap of {run + 1} samples without change at {in_text(at_s, 's', 3)}: the recorder left "
        "out samples; record again"
    )


def _may_be_long(alike: NDArray[np.bool_]) -> bool:
    """Whether any run is as long as one must be that refuse_gap refuses."""
    count, whole = len(alike), int(np.count_nonzero(alike))
    least = 2
    while least <= whole and count * (max(whole - least, 1) / count) ** least > HARDLY_EVER:
        least += 1
    running, length = alike, 1
    while length < least:
        more = min(length, least - length)
        running, length = running[more:] & running[: len(running) - more], length + more
    return bool(running.any())
