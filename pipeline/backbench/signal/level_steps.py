"""Where the levels of a stepped tone begin and end within one record."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.track import Array

BLOCK_S = 0.01
LEAST_BLOCK_PERIODS = 2
GREATEST_LENGTH_CHANGE = 0.25
"""A step may last this much longer or shorter than stated, relative."""
LENGTH_CHANGE_COST_DB2 = 4.0
"""Square level error in dB^2 that a step of twice its stated length is as bad as."""
SETTLE = 0.2
SETTLE_S = 0.05
RELEASE = 0.05
"""Shares of a step that are left out at its beginning and end, and the least time at both."""
FLOOR_DB = -140.0
TELLING_DB = 0.5
"""Levels nearer to each other than this don't show where one step ends and the next begins."""
EDGE_BLOCKS = 3
"""Blocks at an edge that may hold some of both levels, and a filter's own settling."""
UNEVEN = 0.1
"""How far apart steps may begin, re the usual: where their levels don't show it."""


@dataclass(frozen=True)
class LevelStep:
    """Samples of one level, its settling left out, and the level that they have.

    Parameters
    ----------
    first, last : int
        Its samples are first to last - 1 of the record.
    level_db : float
        dB re 1 V.
    """

    first: int
    last: int
    level_db: float


def find_steps(
    volts: Array, rate_hz: float, tone_hz: float, step_s: float, count: int
) -> list[LevelStep]:
    """The `count` segments of steady level of a tone, in order of time.

    Parameters
    ----------
    volts : ndarray of float64, shape (n,)
        V.
    rate_hz : float
        Sample rate, Hz.
    tone_hz : float
        Frequency of the tone, Hz.
    step_s : float
        Duration of a step as stated, s; it may be a quarter longer or shorter.
    count : int
        Number of steps, >= 1.

    Returns
    -------
    list of LevelStep
        `count` of them.

    Raises
    ------
    Refusal
        Where the record is too short for them, or a step for the tone, or a step holds another
        level for longer than it may settle: the first or the last may be cut off.

    Notes
    -----
    The record is cut where the tone's level, block by block, is explained best by `count` constant
    levels of about step_s each, with anything before and after (dynamic programming, least squares
    of the level in dB); gaps between steps are passed over.
    """
    block = _block(rate_hz, tone_hz)
    levels = _levels(volts, rate_hz, tone_hz, block)
    wanted = step_s * rate_hz / block
    shortest = math.ceil(wanted * (1 - GREATEST_LENGTH_CHANGE))
    if shortest < 4 or len(levels) < count * shortest:
        raise Refusal(
            f"{in_text(len(volts) / rate_hz, 's')} hold no {count} steps of "
            f"{in_text(step_s, 's', 6)}"
            if shortest >= 4
            else f"steps of {in_text(step_s, 's', 6)} are too short at {in_text(tone_hz, 'Hz', 6)}"
        )
    edges = _cut(levels, wanted, shortest, count)
    steps = [_inner(levels, a, b, block, rate_hz) for a, b in edges]
    _refuse_two_levels(levels, edges, [step.level_db for step in steps])
    return steps


def _block(rate_hz: float, tone_hz: float) -> int:
    """Samples in whole periods: 10 ms or two periods, the longer."""
    periods = max(math.ceil(BLOCK_S * tone_hz), LEAST_BLOCK_PERIODS)
    return max(round(periods * rate_hz / tone_hz), 1)


def _levels(volts: Array, rate_hz: float, tone_hz: float, block: int) -> Array:
    """Level of the tone in each block, dB re 1 V rms; noise and hum beside it count little."""
    count = len(volts) // block
    turn = np.exp(-2j * np.pi * tone_hz / rate_hz * np.arange(block))
    rows = volts[: count * block].reshape(count, block)
    rms = np.abs(rows @ turn) * math.sqrt(2) / block
    return np.asarray(20 * np.log10(np.maximum(rms, 10 ** (FLOOR_DB / 20))))


def _cut(levels: Array, wanted: float, shortest: int, count: int) -> list[tuple[int, int]]:
    """First and last block (exclusive) of each step: least cost over all ways to cut."""
    size = len(levels)
    lengths = np.arange(shortest, math.floor(wanted * (1 + GREATEST_LENGTH_CHANGE)) + 1)
    sums = np.concatenate([[0.0], np.cumsum(levels)])
    squares = np.concatenate([[0.0], np.cumsum(np.square(levels))])
    best = np.zeros(size + 1)
    came: list[tuple[Array, Array]] = []
    ends = np.arange(size + 1)
    starts = ends[:, None] - lengths[None, :]
    inside = starts >= 0
    held = np.where(inside, starts, 0)
    mean = (sums[ends][:, None] - sums[held]) / lengths
    cost = squares[ends][:, None] - squares[held] - lengths * np.square(mean)
    cost = np.maximum(cost, 0.0) + LENGTH_CHANGE_COST_DB2 * np.square(lengths / wanted - 1) * wanted
    for _ in range(count):
        # A gap before a step costs nothing: the best end up to here is carried on.
        reached = np.minimum.accumulate(best)
        since = np.maximum.accumulate(np.where(best <= reached, ends, 0))
        whole = np.where(inside, reached[held] + cost, np.inf)
        chosen = np.argmin(whole, axis=1)
        came.append((lengths[chosen], since))
        best = np.asarray(whole[ends, chosen])
    end = int(np.argmin(best))
    edges: list[tuple[int, int]] = []
    for taken, since in reversed(came):
        begin = end - int(taken[end])
        edges.append((begin, end))
        end = int(since[begin])
    return edges[::-1]


def _inner(levels: Array, first: int, last: int, block: int, rate_hz: float) -> LevelStep:
    """The step without its settling."""
    length = (last - first) * block
    lead = max(round(SETTLE * length), round(SETTLE_S * rate_hz), block)
    tail = max(round(RELEASE * length), block)
    start, stop = first * block + lead, last * block - tail
    inner = levels[math.ceil(start / block) : stop // block]
    return LevelStep(start, stop, float(np.median(inner)) if len(inner) else float(levels[first]))


def _refuse_two_levels(levels: Array, edges: list[tuple[int, int]], found: list[float]) -> None:
    """Raise Refusal where steps aren't the levels of the record.

    Where a step of the record is missing, so many can only be found by cutting one in two; a step
    beside it then holds a part of another level, or begins at another time than its turn.
    """
    alike = bool(np.any(np.abs(np.diff(found)) < TELLING_DB))
    settling = RELEASE if alike else SETTLE
    for k, (one, other) in enumerate(pairwise(found)):
        if abs(other - one) < TELLING_DB:
            continue
        (first, last), (begin, end) = edges[k], edges[k + 1]
        above = math.copysign(1.0, other - one) * (levels - (one + other) / 2)
        if _run(-above[first:last][::-1]) > RELEASE * (last - first) + EDGE_BLOCKS:
            raise Refusal(_two_levels(k + 1))
        if _run(above[begin:end]) > settling * (end - begin) + EDGE_BLOCKS:
            raise Refusal(_two_levels(k + 2))
    if alike:
        _refuse_uneven(np.diff([first for first, _ in edges]))


def _refuse_uneven(lengths: Array) -> None:
    usual = float(np.median(lengths))
    if np.any(np.abs(lengths - usual) > UNEVEN * usual + EDGE_BLOCKS):
        raise Refusal(
            "steps begin at uneven times where levels don't show them: the recording begins late "
            "or ends early; record all steps"
        )


def _two_levels(number: int) -> str:
    return (
        f"step {number} would hold two levels: the recording begins late, ends early, or isn't of "
        "the stated steps; record all of them"
    )


def _run(towards: Array) -> int:
    """Blocks at the beginning that are below 0 on the whole; noise moves single ones."""
    sums = np.concatenate([[0.0], np.cumsum(towards)])
    return int(np.argmin(sums))
