"""Whether a system and its record held still while a sweep passed.

Parts before its arrival and clicks beside it tell of changes; time that wanders leaves a delay of
more periods than a filter can have.
"""

from __future__ import annotations

import numpy as np

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.sweep_click import click_hz
from backbench.signal.sweep_deconvolved import Deconvolved
from backbench.signal.sweep_delay import LEAST_FLANK, PhaseCourse, delays, phase_course
from backbench.signal.sweep_excitation import PlayedSweep
from backbench.signal.sweep_precursors import LOW_TO_HZ, early_parts, flutters

SURELY_STEADY = 0.3
"""So little of it in all high bands re the limit shows that no delay wanders."""
WANDER_CYCLES = 5.0
"""Delay re the arrival, in periods: that of a resonance of quality 16, Q / pi."""
WANDER_ABOVE_HZ = 200.0


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
    course = phase_course(sent, deconvolved, WANDER_ABOVE_HZ)
    if len(course.hz) >= 2 * LEAST_FLANK:
        _refuse_wander(course)


def _changed(hz: float) -> str:
    return (
        f"the output breaks off, jumps or wavers as the sweep passes {in_text(hz, 'Hz', 2)}; look "
        "for a loose contact, a level that was changed or a recorder that drops samples, and "
        "record again"
    )


def _refuse_wander(course: PhaseCourse) -> None:
    read = delays(course)
    if len(read.hz) == 0:
        return
    cycles = read.seconds * read.hz
    worst = int(np.argmax(np.abs(cycles)))
    if abs(cycles[worst]) > WANDER_CYCLES:
        raise Refusal(
            f"the delay at {in_text(read.first_hz[worst], 'Hz', 3)} is "
            f"{in_text(abs(float(cycles[worst])), '', 2)} periods off the arrival's: speed that "
            "wanders, samples that are missing or repeated, or clocks of player and recorder "
            "that differ; record again"
        )
