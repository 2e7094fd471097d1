"""Where the levels of a stepped tone begin and end within one record."""

from __future__ import annotations

import math
from dataclasses import dataclass

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
        Where the record is too short for them, or a step for the tone.

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
    return [_inner(levels, a, b, block, rate_hz) for a, b in edges]


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
