"""Whether a system and its record held still while a sweep passed.

Parts before its arrival and clicks beside it tell of changes; time that wanders leaves a delay of
more periods than a filter can have.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.sweep_click import click_hz
from backbench.signal.sweep_deconvolved import Deconvolved
from backbench.signal.sweep_excitation import PlayedSweep
from backbench.signal.sweep_precursors import LOW_TO_HZ, early_parts, flutters
from backbench.signal.sweep_window import Complex
from backbench.signal.track import Array

Order = NDArray[np.int_]

SURELY_STEADY = 0.3
"""So little of it in all high bands re the limit shows that no delay wanders."""
FLANK = 0.04
"""Width of the stretch in which the delay is read, re the frequency."""
LEAST_FLANK = 8
WANDER_CYCLES = 5.0
"""Delay re the arrival, in periods: that of a resonance of quality 16, Q / pi."""
WANDER_ABOVE_HZ = 200.0
LEAST_CLEAR = 0.05
"""Greatest relative uncertainty of a response whose delay is looked at."""


def refuse_unsteady(sent: PlayedSweep, deconvolved: Deconvolved) -> None:
    """Raise Refusal where the level or the time changed while the sweep passed.

    Parameters
    ----------
    sent : PlayedSweep
        What was played.
    deconvolved : Deconvolved
        What came of it.

    Raises
    ------
    Refusal
        With the frequency at which it changed.
    """
    seen = early_parts(sent, deconvolved)
    high = [one.over for one in seen if one.low_hz >= LOW_TO_HZ]
    judged = [one for one in seen if one.low_hz < LOW_TO_HZ] if flutters(high) else seen
    worst = max(judged, key=lambda one: one.over, default=None)
    changed_hz = worst.hz if worst and worst.over > 1 else click_hz(sent, deconvolved)
    if changed_hz is not None:
        raise Refusal(_changed(changed_hz))
    if max(high, default=1.0) < SURELY_STEADY:
        return
    noise = deconvolved.noise / np.abs(deconvolved.ratio)
    course = _course(sent, deconvolved.spectrum, noise)
    if len(course.hz) >= 2 * LEAST_FLANK:
        _refuse_wander(course)


def _changed(hz: float) -> str:
    return (
        f"the output breaks off, jumps or wavers as the sweep passes {in_text(hz, 'Hz', 2)}; look "
        "for a loose contact, a level that was changed or a recorder that drops samples, and "
        "record again"
    )


class _Course(NamedTuple):
    """Phase of the response, rad and continuous, at evenly spaced frequencies."""

    hz: Array
    phase: Array


def _course(sent: PlayedSweep, spectrum: Complex, noise: Array) -> _Course:
    """The longest upper stretch of the response that is clear of noise, by resolution cell."""
    step = max(sent.window.size // len(sent.window.weights), 1)
    cell = sent.own_rate_hz / sent.window.size
    chosen = np.arange(
        math.ceil(max(WANDER_ABOVE_HZ, sent.grid[0]) / cell), int(sent.grid[-1] / cell), step
    )
    hz, values = chosen * cell, spectrum[chosen]
    clear = (np.interp(hz, sent.grid, noise) < LEAST_CLEAR) & (values != 0)
    edges = np.concatenate([[-1], np.flatnonzero(~clear), [len(hz)]])
    widest = int(np.argmax(np.diff(edges)))
    part = slice(int(edges[widest]) + 1, int(edges[widest + 1]))
    return _Course(hz[part], np.unwrap(np.angle(values[part])))


def _slopes(values: Array, first: Order, count: Order) -> Array:
    """Slopes of straight lines by least squares through `count` values from each `first` on."""
    sums = np.concatenate([[0], np.cumsum(values)])
    moments = np.concatenate([[0], np.cumsum(values * np.arange(len(values)))])
    whole = sums[first + count] - sums[first]
    centre = first + (count - 1) / 2
    moment = moments[first + count] - moments[first] - centre * whole
    return np.asarray(12 * moment / (count * (count**2 - 1.0)))


def _refuse_wander(course: _Course) -> None:
    cell = float(course.hz[1] - course.hz[0])
    wide = np.maximum(LEAST_FLANK, np.rint(FLANK * course.hz / cell)).astype(int)
    first = np.flatnonzero(np.arange(len(course.hz)) + wide < len(course.hz))[::LEAST_FLANK]
    if len(first) == 0:
        return
    count = wide[first]
    centre_hz = course.hz[0] + cell * (first + (count - 1) / 2)
    cycles = -_slopes(course.phase, first, count) / (2 * np.pi * cell) * centre_hz
    worst = int(np.argmax(np.abs(cycles)))
    if abs(cycles[worst]) > WANDER_CYCLES:
        raise Refusal(
            f"the delay at {in_text(course.hz[first[worst]], 'Hz', 3)} is "
            f"{in_text(abs(float(cycles[worst])), '', 2)} periods off the arrival's: speed that "
            "wanders, samples that are missing or repeated, or clocks of player and recorder "
            "that differ; record again"
        )
