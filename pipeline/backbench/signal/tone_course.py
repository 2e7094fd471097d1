"""The course in time of a tone that was found, and of several."""

from __future__ import annotations

from dataclasses import replace
from weakref import WeakKeyDictionary

import numpy as np

from backbench.signal.intermodulation import ToneSet
from backbench.signal.line_course import LineCourse, line_course
from backbench.signal.tone import BAND_HZ, PASS_BAND, ToneLines
from backbench.signal.track import Track

MOST_FITTED = 4
WORTH_FITTING = 0.02
"""Share of what stands beside a tone from which a harmonic is fitted: weaker ones are steady
parts of what is left, and change it little from block to block."""

_kept: WeakKeyDictionary[ToneLines | ToneSet, LineCourse] = WeakKeyDictionary()


def tone_course(track: Track, lines: ToneLines) -> LineCourse:
    """A tone from block to block, its strong harmonics taken off; made once for each.

    Parameters
    ----------
    track : Track
        The record.
    lines : ToneLines
        The tone found in it.

    Returns
    -------
    LineCourse
        Of the fundamental alone.

    Raises
    ------
    ValueError
        Where the record is too short for two blocks.
    """
    if lines not in _kept:
        hz = lines.frequency_hz * np.array([1.0, *_strong_orders(lines)])
        course = line_course(track.volts, track.rate_hz, hz)
        _kept[lines] = replace(course, phasors=course.phasors[:, :1], turns=course.turns[:1])
    return _kept[lines]


def beside(lines: ToneLines) -> float:
    """What stands beside a tone, 20 Hz to 20 kHz or the record's band, share of its power.

    Parameters
    ----------
    lines : ToneLines
        The tone.

    Returns
    -------
    float
        Ratio of powers.
    """
    top = min(BAND_HZ[1], lines.spectrum.rate_hz * PASS_BAND)
    left = lines.residual if top == BAND_HZ[1] else lines.residual_to(top)
    return left.value / lines.fundamental.value


def tones_course(track: Track, tones: ToneSet) -> LineCourse:
    """Several tones from block to block.

    Parameters
    ----------
    track : Track
        The record.
    tones : ToneSet
        The tones found in it.

    Returns
    -------
    LineCourse

    Raises
    ------
    ValueError
        Where the record is too short for two blocks.
    """
    if tones not in _kept:
        _kept[tones] = line_course(track.volts, track.rate_hz, tones.frequencies_hz)
    return _kept[tones]


def _strong_orders(lines: ToneLines) -> list[int]:
    """Orders of the strongest harmonics, rising."""
    if lines.last_order(BAND_HZ[1]) < 2:
        return []
    found = lines.harmonics(lines.last_order(BAND_HZ[1]))
    least = WORTH_FITTING * beside(lines) * lines.fundamental.value
    strong = np.argsort(-found.square)[:MOST_FITTED]
    return sorted(int(found.orders[k]) for k in strong if found.square[k] > least)
