"""Repeated bursts of a sine: where they are, their level, and what the wave is bent by."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.power import MeanSquare
from backbench.signal.record_checks import check_record
from backbench.signal.tone import EDGE, LAST_ORDER, PASS_BAND
from backbench.signal.tone_search import GENERATOR_TOLERANCE
from backbench.signal.track import Array, Track

HALF = 0.5
"""Share of the greatest envelope above which a burst is on; between bursts the level may be
20 dB down."""
DURATION_WITHIN = 0.1
PERIOD_WITHIN = 0.02
SKIPPED_PERIODS = 2
"""Periods at either end of a burst that are left out: the unit and the band settle there."""
LEAST_PERIODS = 5


class Bursts(NamedTuple):
    """Bursts as read from a record.

    Parameters
    ----------
    levels : tuple of float
        The fundamental's rms of each burst, V.
    noise : float
        Relative standard uncertainty that noise gives one of them.
    harmonics : MeanSquare
        Harmonics 2 to 10 together, V^2.
    peak : float
        Greatest instant magnitude, V.
    frequency_hz : float
        As measured, Hz.
    """

    levels: tuple[float, ...]
    noise: float
    harmonics: MeanSquare
    peak: float
    frequency_hz: float


def read_bursts(track: Track, hz: float, on_s: float, period_s: float) -> Bursts:
    """The whole bursts in a track.

    Parameters
    ----------
    track : Track
        The record.
    hz : float
        Frequency of the sine as stated, Hz.
    on_s : float
        Duration of a burst as stated, s.
    period_s : float
        From the start of a burst to that of the next as stated, s.

    Returns
    -------
    Bursts

    Raises
    ------
    Refusal
        Where the record is unfit, a burst holds too few periods, the sample rate doesn't hold ten
        harmonics, no burst is whole, or the bursts are not those stated.
    """
    check_record(track)
    if on_s * hz < LEAST_PERIODS + 2 * SKIPPED_PERIODS:
        raise Refusal(
            f"a burst of {in_text(on_s, 's', 6)} holds too few periods of "
            f"{in_text(hz, 'Hz', 6)} to be measured"
        )
    if LAST_ORDER * hz > PASS_BAND * EDGE * track.rate_hz:
        raise Refusal(
            f"a sample rate of {in_text(track.rate_hz, 'Hz', 6)} doesn't hold ten "
            f"harmonics of {in_text(hz, 'Hz', 6)}"
        )
    analytic = _demodulated(track, hz)
    runs = _runs(analytic, track.rate_hz, hz, on_s)
    _check_period([first for first, _ in runs], track.rate_hz, period_s)
    skipped = round(SKIPPED_PERIODS * track.rate_hz / hz)
    inside = [slice(first + skipped, last - skipped) for first, last in runs]
    measured_hz = hz + float(np.mean([_off(analytic[part], track.rate_hz) for part in inside]))
    if abs(measured_hz / hz - 1) > GENERATOR_TOLERANCE:
        raise Refusal(
            f"the bursts are of {in_text(measured_hz, 'Hz', 6)}, not of "
            f"{in_text(hz, 'Hz', 6)} as stated"
        )
    fits = [_fitted(track.volts[part], measured_hz / track.rate_hz) for part in inside]
    peak = max(float(np.abs(track.volts[first:last]).max()) for first, last in runs)
    return Bursts(
        tuple(fit.level for fit in fits),
        float(np.mean([fit.noise for fit in fits])),
        _mean([fit.harmonics for fit in fits]), peak, measured_hz,
    )  # fmt: skip


def _demodulated(track: Track, hz: float) -> NDArray[np.complex128]:
    """Complex amplitude, V peak, averaged over one period about each sample."""
    n = len(track.volts)
    turned = track.volts * np.exp(-2j * np.pi * hz / track.rate_hz * np.arange(n))
    width = max(round(track.rate_hz / hz), 1)
    total = np.concatenate([[0.0], np.cumsum(turned)])
    analytic = np.zeros(n, dtype=np.complex128)
    analytic[width // 2 : width // 2 + n - width + 1] = 2 * (total[width:] - total[:-width]) / width
    return analytic


def _runs(
    analytic: NDArray[np.complex128], rate_hz: float, hz: float, on_s: float
) -> list[tuple[int, int]]:
    """First and last sample of each whole burst."""
    envelope = np.abs(analytic)
    on = np.concatenate([[False], envelope > HALF * envelope.max(), [False]])
    changes = np.flatnonzero(on[1:] != on[:-1])
    margin = 2 * rate_hz / hz
    whole = [
        (int(first), int(last))
        for first, last in zip(changes[::2], changes[1::2], strict=True)
        if first > margin and last < len(analytic) - margin
    ]
    if not whole:
        raise Refusal("no whole burst in the record")
    for first, last in whole:
        seconds = (last - first) / rate_hz
        if abs(seconds - on_s) > max(DURATION_WITHIN * on_s, 2 / hz):
            raise Refusal(
                f"a burst of {in_text(seconds, 's')}, where {in_text(on_s, 's', 6)} were stated"
            )
    return whole


def _check_period(starts: Sequence[int], rate_hz: float, period_s: float) -> None:
    for one, following in pairwise(starts):
        seconds = (following - one) / rate_hz
        if abs(seconds / period_s - 1) > PERIOD_WITHIN:
            raise Refusal(
                f"bursts {in_text(seconds, 's', 4)} apart, where "
                f"{in_text(period_s, 's', 6)} were stated"
            )


def _off(analytic: NDArray[np.complex128], rate_hz: float) -> float:
    """How far the frequency lies from the one demodulated with, Hz."""
    phase = np.unwrap(np.angle(analytic))
    return float(np.polyfit(np.arange(len(phase)) / rate_hz, phase, 1)[0]) / (2 * math.pi)


class _Fit(NamedTuple):
    level: float
    noise: float
    harmonics: MeanSquare


def _fitted(volts: Array, turns: float) -> _Fit:
    """Least squares of fundamental, harmonics and steady part; turns: periods in a sample."""
    angle = 2 * np.pi * turns * np.arange(len(volts))
    orders = np.arange(1, LAST_ORDER + 1)
    waves = [wave(order * angle) for order in orders for wave in (np.cos, np.sin)]
    basis = np.column_stack([np.ones(len(volts)), *waves])
    # Sums without the linear algebra library, whose threads cost more than they save here. The
    # waves are nearly orthogonal over whole periods, so that the normal equations lose nothing.
    coefficients = np.linalg.solve(
        np.einsum("ni,nj->ij", basis, basis), np.einsum("ni,n->i", basis, volts)
    )
    rest = volts - np.einsum("ni,i->n", basis, coefficients)
    variance = float(np.sum(rest**2)) / (len(volts) - basis.shape[1])
    squares = (coefficients[1::2] ** 2 + coefficients[2::2] ** 2) / 2
    # White noise of that variance adds 2 / n of it to the mean square of each line.
    each = 2 * variance / len(volts)
    number = LAST_ORDER - 1
    harmonics = MeanSquare(
        float(squares[1:].sum()) - number * each, number * each**2, 2 * each, len(volts)
    )
    level = math.sqrt(float(squares[0]))
    return _Fit(level, math.sqrt(each / 2) / level, harmonics)


def _mean(parts: Sequence[MeanSquare]) -> MeanSquare:
    number = len(parts)
    return MeanSquare(
        sum(part.value for part in parts) / number,
        sum(part.floor for part in parts) / number**2,
        sum(part.slope for part in parts) / number**2,
        sum(part.samples for part in parts),
    )
