"""Where in a record its lines hold still, by their course from block to block."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.quantities.writing import in_text
from backbench.signal.line_course import LineCourse
from backbench.signal.quantiles import middle
from backbench.signal.track import Array
from backbench.signal.window import Complex

LEVEL_WITHIN_DB = 0.2
"""A level that changes by less within the record is a slow drift; its uncertainty holds it."""
LEVEL_WITHIN = math.log(10) * LEVEL_WITHIN_DB / 20
"""The same as a logarithm of a ratio."""
DROPPED_OUT_DB = 60.0
"""A level that changes by more has not changed but gone: common practice, no source."""
PITCH_WITHIN = 1e-4
"""Slow drift of a generator's frequency within a record, relative: common practice, no source."""
PITCH_BINS = 0.5
"""A change of frequency by less than this much of a bin of the record stays in a line's lobe."""
LEAST_STEP = 5e-6
"""Single precision tells no smaller change of a line, relative."""
CONFIDENT_SIGMAS = 6.0
"""Standard deviations of the noise above which a change from block to block is one."""
STEP_IN_REST = 50.0
"""A step d of a line, relative, leaves about d^2 / 50 of its power outside the lobe (found by
simulation with the seven-term window)."""
RULING = 0.1
"""Share of what stands beside the tone that its own steps may make up."""
DISTURBED = 30.0
"""Times the usual mean square of a thousandth of a second, above which it was disturbed."""
HUM_TO_HZ = 500.0
MOST_LEAK = 0.5
"""Share of a mains line that may show as a line of the fit, where both are near in frequency."""
OFTEN, MOSTLY = 0.9, 0.5
HUM_PERIOD_S = 0.01
"""Parts of a block as long as this hold a whole period of rectified mains: none is loud by hum."""
LOUD = 1.5
"""Times the usual power beside the lines, above which a block is loud."""
PASSING_BLOCKS = 3
OF_LINES = 3e-4
"""Share of the lines' power (a peak of about 2 %) from which a disturbance is a gap or a jump,
not the noise of a unit."""


SIGNIFICANT_RATIO = 2.0
"""Ratio of variances that 31 degrees of freedom exceed once in a thousand times."""
STRONG = 0.1
"""Share of the strongest line's level from which a line is named."""
SMALL, TINY = 0.1, 1e-300
"""Share of a line's level by which it may be off its mean and be still at a look; least level."""
LEAST_PHASE = 0.01
"""Radians, below which a change counts as one of level."""


class SteadySegment(NamedTuple):
    """The longest part of a record in which its lines hold still.

    Parameters
    ----------
    first, last : int
        Blocks first to last - 1.
    """

    first: int
    last: int


def steady_segment(course: LineCourse, beside: float, wander: float = math.inf) -> SteadySegment:
    """The longest run of blocks in which every line holds its level and its phase.

    Parameters
    ----------
    course : LineCourse
        The lines from block to block.
    beside : float
        What stands beside the lines in the record's spectrum, share of their power, >= 0.
    wander : float, optional
        How far a line's phase may be off even turning, rad.

    Returns
    -------
    SteadySegment
        The whole record where nothing changes. May be empty.
    """
    beat = _beat(course)
    if _is_surely_still(course, beside, beat, wander):
        return SteadySegment(0, len(course.phasors))
    sound = _sound(course, beside, beat)
    runs = [SteadySegment(0, len(sound))] if sound.all() else _runs(sound)
    best = SteadySegment(0, 0)
    for run in runs:
        segment = _phase_run(course, _level_run(course, run, beat), wander)
        if segment.last - segment.first > best.last - best.first:
            best = segment
    return best


def change(course: LineCourse) -> str:
    """What changes most within a record, in words.

    Parameters
    ----------
    course : LineCourse
        The lines from block to block.

    Returns
    -------
    str
        A clause with the size of the change.
    """
    level, usual = course.level, course.usual_level
    moved = np.ptp(level, axis=0) / np.maximum(usual, TINY)
    worst = int(np.argmax(np.where(usual >= STRONG * usual.max(), moved, -1.0)))
    own = level[:, worst]
    span = 20 * math.log10(float(own.max()) / max(float(own.min()), 1e-12))
    if span > LEVEL_WITHIN_DB:
        gone = span > DROPPED_OUT_DB
        return "it drops out" if gone else f"its level changes by {in_text(span, 'dB', 2)}"
    if bool(_disturbed(course).any()):
        return "a gap, a click or a jump disturbs it"
    excursion = np.ptp(course.phase[:, worst])
    if excursion > LEAST_PHASE:
        return f"its phase wanders by {in_text(math.degrees(excursion), 'deg', 2)}"
    return f"its level jumps by up to {in_text(span, 'dB', 2)}"


def level_spread(course: LineCourse) -> Array:
    """Relative standard deviation of each line's level from block to block.

    Parameters
    ----------
    course : LineCourse
        The lines from block to block.

    Returns
    -------
    ndarray of float64, shape (lines,)
        Relative. 0 where it is no more than noise and mains lines beside it make of it.
    """
    level = course.level
    away = level * (len(level) / np.add.reduce(level, axis=0)) - 1
    own = np.add.reduce(away * away, axis=0) / len(level)
    explained = course.noise**2 + _beat(course) ** 2 + LEAST_STEP**2
    unexplained: Array = np.sqrt(np.where(own > SIGNIFICANT_RATIO * explained, own, 0.0))
    return unexplained


def _is_surely_still(course: LineCourse, beside: float, beat: Array, wander: float) -> bool:
    """Whether no line is ever so far from its mean that any of its blocks could be refused.

    One look at most records, where each limit on its own takes ten times as long. beat: see _beat.
    """
    blocks, usual, noise = len(course.phasors), course.usual_level, CONFIDENT_SIGMAS * course.noise
    mean = np.add.reduce(course.phasors, axis=0) / blocks
    most = np.maximum.reduce(np.abs(course.phasors - mean), axis=0)
    share = most / np.maximum(np.abs(mean), TINY)
    if blocks < 3 or not bool((share < SMALL).all()) or bool(_disturbed(course).any()):
        return False
    # Within a circle of that radius around the mean: from one block to others it bends by four
    # radii at most, and its phase is off a straight course by four times the angle, which is less
    # than 1.1 of the share; its level changes by twice that share, and that again of itself.
    reach = math.sqrt(STEP_IN_REST * RULING * beside) * 2 / blocks
    bend = np.maximum(reach, np.maximum(math.sqrt(6) * noise, LEAST_STEP)) + 4 * beat
    turn = np.minimum(_pitch_change(course) + math.sqrt(2) * noise + 2 * beat, wander + noise)
    level = LEVEL_WITHIN + 2 * (noise + beat)
    still = (4 * most <= bend * usual) & (4.4 * share <= turn) & (2.2 * share <= level)
    return bool(still.all())


def _beat(course: LineCourse) -> Array:
    """What mains lines beside a line make of it from block to block, relative, at most.

    A rectangular block lets a line that is d periods off through with a share of 1 / (pi d); one
    so near that the fit takes it for the line itself isn't left over, and known from the spectrum.
    """
    turns, hum = course.turns, HUM_TO_HZ * course.block_s
    away = np.maximum(turns - hum, turns / 4)
    fraction = np.minimum(1 / (math.pi * away), MOST_LEAK)
    near = 0.0 if course.beside is None else course.beside
    return (fraction * math.sqrt(2 * course.usual_left) + near) / course.usual_level


def _sound(course: LineCourse, beside: float, beat: Array) -> NDArray[np.bool_]:
    """Blocks without a gap, a jump or a change of frequency. beat: see _beat."""
    sound = ~_disturbed(course)
    usual, noise = course.usual_level, course.noise
    if len(course.level) < 3 or bool(np.any(usual == 0)):
        return sound
    quiet = _quiet(course)
    bend, reach = _bends((course.phasors / usual)[quiet], quiet)
    # A phase that turns evenly isn't a step: it is a frequency a little off.
    limit = np.maximum(
        math.sqrt(STEP_IN_REST * RULING * beside) * reach[:, None],
        np.maximum(CONFIDENT_SIGMAS * math.sqrt(6) * noise, LEAST_STEP),
    )
    limit += 4 * beat
    sound[quiet[1:-1]] &= np.logical_and.reduce(bend <= limit, axis=1)
    sound &= _even_pitch(course, CONFIDENT_SIGMAS * math.sqrt(2) * noise + 2 * beat)
    return sound


def _quiet(course: LineCourse) -> NDArray[np.int_]:
    """Blocks but those in which noise was loud for a while, as crackle is: it shifts the lines in
    its block, and passes. What stays louder came with a change."""
    left = course.left_by_block
    loud = left > LOUD * course.usual_left
    if not loud.any():
        return np.arange(len(left))
    passing = np.zeros(len(left), dtype=bool)
    for run in _runs(loud):
        passing[run.first : run.last] = run.last - run.first <= PASSING_BLOCKS
    quiet = np.flatnonzero(~passing)
    return quiet if len(quiet) >= 3 else np.arange(len(left))


def _bends(still: Complex, at: NDArray[np.int_]) -> tuple[Array, Array]:
    """How far each block but the ends is off the line through its neighbours, twice, and the share
    of a step between two of them that this shows; shapes (blocks - 2, lines) and (blocks - 2,)."""
    apart = at[1:] - at[:-1]
    before, after = apart[:-1], apart[1:]
    whole = before + after
    shares = (after / whole)[:, None], (before / whole)[:, None]
    line = still[:-2] * shares[0] + still[2:] * shares[1]
    return 2 * np.abs(still[1:-1] - line), 2 * np.minimum(before, after) / whole


def _even_pitch(course: LineCourse, spare: Array) -> NDArray[np.bool_]:
    """Blocks between which the phase goes on as it does in the rest of the record."""
    turned = course.phase[1:] - course.phase[:-1]
    away = np.abs(turned - middle(turned))
    sound = np.ones(len(course.phasors), dtype=bool)
    sound[1:] &= np.logical_and.reduce(away <= _pitch_change(course) + spare, axis=1)
    return sound


def _pitch_change(course: LineCourse) -> Array:
    """How much more or less than usual each line may turn from one block to the next, rad."""
    least = PITCH_BINS / len(course.phasors)
    return 2 * math.pi * np.maximum(least, PITCH_WITHIN * course.turns)


def _disturbed(course: LineCourse) -> NDArray[np.bool_]:
    """Blocks with a thousandth of a second that is far louder than usual, and near the lines."""
    power = float(course.usual_level @ course.usual_level) / 2
    worst: Array = np.maximum.reduce(course.left, axis=1)
    if float(worst.max()) <= OF_LINES * power:
        return np.zeros(len(worst), dtype=bool)
    # Hum with many multiples, and harmonics that sampling mirrors, are loud now and then.
    part_s = course.block_s / course.left.shape[1]
    usual = course.left_within(OFTEN if part_s < HUM_PERIOD_S else MOSTLY)
    if course.block_s >= HUM_PERIOD_S:
        # They are so in every block. Gaps spoil the fit of whole blocks, however many these are.
        usual = min(usual, float(middle(worst)))
    return np.asarray(worst > max(DISTURBED * usual, OF_LINES * power))


def _runs(sound: NDArray[np.bool_]) -> list[SteadySegment]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], sound, [False]]).astype(int)))
    return [SteadySegment(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def _level_run(course: LineCourse, run: SteadySegment, beat: Array) -> SteadySegment:
    """The longest part of a run in which every line's level stays within the limit."""
    spare = 2 * (CONFIDENT_SIGMAS * course.noise + beat)
    logs = np.log(np.maximum(course.level, TINY))
    most = LEVEL_WITHIN + spare
    held = logs[run.first : run.last]
    if len(held) and bool((held.max(axis=0) - held.min(axis=0) <= most).all()):
        return run
    best, first = SteadySegment(run.first, run.first), run.first
    for last in range(run.first + 1, run.last + 1):
        while np.any(np.ptp(logs[first:last], axis=0) > most):
            first += 1
        if last - first > best.last - best.first:
            best = SteadySegment(first, last)
    return best


def _phase_run(course: LineCourse, run: SteadySegment, wander: float) -> SteadySegment:
    """The longest part of a run in which every line's phase turns evenly."""
    phase = course.phase
    most = wander + CONFIDENT_SIGMAS * course.noise
    for count in range(run.last - run.first, 2, -1):
        for first in range(run.first, run.last - count + 1):
            if np.all(_uneven(phase[first : first + count]) <= most):
                return SteadySegment(first, first + count)
    return run if run.last - run.first <= 2 else SteadySegment(run.first, run.first)


def _uneven(phase: Array) -> Array:
    """How far the phase of each line is off a straight course, rad."""
    at = np.arange(len(phase)) - (len(phase) - 1) / 2
    slope = at @ phase / float(at @ at)
    off = phase - np.add.reduce(phase, axis=0) / len(phase) - at[:, None] * slope
    return np.asarray(np.maximum(off.max(axis=0), -off.min(axis=0)))
