"""How long what an overload moves takes to go back after a burst."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from backbench.errors import NotApplicable, Refusal
from backbench.signal.burst import Bursts
from backbench.signal.track import Array, Track

LEAST_PERIODS = 30
"""Of a pause, so that its last third tells what the output goes back to."""
AFTER = 2
"""Periods before the next burst that are left out."""
NOISE_TIMES = 4.0
"""How many times its rms the noise of a pause reaches."""
DRIFT_SHARE = 0.25
"""Share of the limit that the end of a pause may still move by."""


class Recovery(NamedTuple):
    """Times after each burst until the output stays within the limit, s.

    Parameters
    ----------
    seconds : tuple of float
        Of each burst, whole periods; 0 where the first period is within the limit. Where the
        output still moves at the end of the pause, two thirds of the pause.
    period : float
        Duration of a period, which the times are known to, s.
    ended : bool
        Whether the output had come to rest in every pause.
    """

    seconds: tuple[float, ...]
    period: float
    ended: bool


def recovery(track: Track, bursts: Bursts, limit_v: float) -> Recovery:
    """The time from each burst's end until the output stays as it is later in the pause.

    Parameters
    ----------
    track : Track
        The record.
    bursts : Bursts
        As read from it.
    limit_v : float
        How far the output may be from what it goes back to, V, above 0.

    Returns
    -------
    Recovery

    Raises
    ------
    NotApplicable
        Where no burst is followed by a pause of thirty periods.
    Refusal
        Where noise or hum in the pauses reaches the limit.
    """
    period = track.rate_hz / bursts.frequency_hz
    skipped = round(AFTER * period)
    starts = [first for first, _ in bursts.runs[1:]] + [len(track.volts)]
    pauses = [
        track.volts[last : start - skipped]
        for (_, last), start in zip(bursts.runs, starts, strict=True)
    ]
    # what follows the last burst may break off
    longest = max(len(pause) for pause in pauses)
    whole = [pause for pause in pauses if len(pause) > 0.9 * longest]
    if longest < LEAST_PERIODS * period:
        raise NotApplicable("no pause of thirty periods follows a burst")
    each = [_one(pause, period, limit_v) for pause in whole]
    return Recovery(
        tuple(periods / bursts.frequency_hz for periods, _ in each),
        1 / bursts.frequency_hz, all(ended for _, ended in each),
    )  # fmt: skip


def _one(pause: Array, period: float, limit_v: float) -> tuple[float, bool]:
    """Periods until the pause stays within the limit, and whether its end is at rest."""
    whole = int(len(pause) / period)
    edges = np.round(np.arange(whole + 1) * period).astype(int)
    late = slice(edges[2 * whole // 3], edges[-1])
    rest = pause[: edges[-1]] - _continued(pause[: edges[-1]], late, period)
    means = np.add.reduceat(rest, edges[:-1]) / period
    end = means[2 * whole // 3 :]
    spread = float(np.std(rest[late] - np.repeat(end, np.diff(edges)[2 * whole // 3 :])))
    if NOISE_TIMES * spread >= limit_v:
        raise Refusal("noise or hum between the bursts is as great as what is looked for")
    if np.ptp(end) > DRIFT_SHARE * limit_v + 2 * NOISE_TIMES * spread / math.sqrt(period):
        return 2 * whole / 3, False
    greatest = np.maximum.reduceat(np.abs(rest), edges[:-1])
    over = np.flatnonzero(greatest > limit_v)
    return (float(over[-1] + 1) if len(over) else 0.0), True


def _continued(pause: Array, late: slice, period: float) -> Array:
    """The steady tone and offset of the late part, over the whole pause."""
    angle = 2 * np.pi * np.arange(len(pause)) / period
    angle = angle * (1 + _off(pause[late], period))
    basis = np.column_stack([np.ones(len(pause)), np.cos(angle), np.sin(angle)])
    part = basis[late]
    coefficients = np.linalg.solve(
        np.einsum("ni,nj->ij", part, part), np.einsum("ni,n->i", part, pause[late])
    )
    return np.asarray(np.einsum("ni,i->n", basis, coefficients))


def _off(late: Array, period: float) -> float:
    """How much higher the tone of the pause is than the bursts', relative; 0 without a tone."""
    half = int(len(late) / 2 / period) * period
    turned = (late - late.mean()) * np.exp(-2j * np.pi * np.arange(len(late)) / period)
    middle = round(half)
    first, second = turned[:middle].mean(), turned[middle : 2 * middle].mean()
    noise = float(np.std(late - late.mean())) / math.sqrt(middle)
    if min(abs(first), abs(second)) < NOISE_TIMES * noise:
        return 0.0
    return float(np.angle(second / first)) / (2 * math.pi * middle) * period
