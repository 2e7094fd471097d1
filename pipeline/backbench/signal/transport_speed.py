"""The speed at which a machine plays a test tone back: its frequency against time."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.track import Array
from backbench.signal.uncertainty import Contribution, combine

BLOCK_S = 0.005
LEAST_PERIODS = 2
"""Whole periods of the tone in a block at least: with fewer its mirror at minus its frequency
doesn't average out."""
REACH = 0.1
"""How far from the stated frequency the tone is looked for, relative."""
WINDOW_S = 5.4
"""Three turns at 33 1/3, four at 45, seven at 78 a minute: what repeats each turn averages out."""
LEAST_WINDOWS = 3
SHIFTS = 4
LEAST_POWER_FRACTION = 0.5
GLANCE_S = 2.0
"""Enough to tell a tone's frequency to far less than sample rates differ."""
MOST_TURN = 2.5
"""Phase in rad between blocks above which it can't be told which way it turned."""


@dataclass(frozen=True, eq=False)
class Speed:
    """Mean frequency over windows of WINDOW_S, at SHIFTS starts each.

    Parameters
    ----------
    windows : ndarray of float64, shape (shifts, windows)
        Hz.
    edge_hz : float
        By how much the mean over the same stretch differs where its ends count less: a wave of the
        speed that the stretch cuts off, Hz.
    """

    windows: Array
    edge_hz: float = 0.0

    @property
    def mean(self) -> tuple[float, float, float]:
        """Mean frequency in Hz, its standard uncertainty, and degrees of freedom."""
        first = self.windows[0]
        n = len(first)
        scatter = float(first.std(ddof=1) / math.sqrt(n))
        total = combine([Contribution(scatter, n - 1), Contribution(self.edge_hz)])
        return float(first.mean()), total.u, total.dof

    @property
    def range(self) -> tuple[float, float]:
        """Greatest less least window in Hz, and its standard deviation over the shifts."""
        spans = self.windows.max(axis=1) - self.windows.min(axis=1)
        return float(spans.mean()), float(spans.std(ddof=1))


def speed_of(volts: Array, rate_hz: float, stated_hz: float) -> Speed:
    """The frequency of a test tone over time.

    Parameters
    ----------
    volts : ndarray of float64, shape (n,)
        V.
    rate_hz : float
        Sample rate, Hz.
    stated_hz : float
        Frequency as stated, Hz; looked for within 10 %.

    Returns
    -------
    Speed
        Hz.

    Raises
    ------
    Refusal
        Where the record is too short, holds no such tone, or one that jumps, or its sample rate
        can't hold the tone.
    """
    seconds = len(volts) / rate_hz
    if seconds < (LEAST_WINDOWS + 1) * WINDOW_S:
        raise Refusal(
            f"{in_text(seconds, 's')} are too short to tell a speed: "
            f"{in_text((LEAST_WINDOWS + 1) * WINDOW_S, 's')} are needed"
        )
    carrier = carrier_of(volts, rate_hz, stated_hz)
    block = round(max(BLOCK_S, LEAST_PERIODS / carrier) * rate_hz)
    phasors = _phasors(volts, rate_hz, carrier, block)
    refuse_no_tone(2 * float(np.mean(np.square(np.abs(phasors)))), volts, stated_hz)
    turns = np.angle(phasors[1:] * phasors[:-1].conj())
    if np.abs(turns).max() > MOST_TURN:
        raise Refusal("the tone jumps or drops out within the record")
    phase = np.concatenate([[0.0], np.cumsum(turns)])
    step_s = block / rate_hz
    windows = _windows(phase, step_s)
    within = turns[: windows.shape[1] * round(WINDOW_S / step_s)] / (2 * np.pi * step_s)
    ends = np.hanning(len(within))
    edge = abs(float(np.dot(within, ends) / ends.sum() - within.mean()))
    return Speed(carrier + windows, edge)


def refuse_no_tone(square: float, volts: Array, stated_hz: float) -> None:
    """See whether a tone holds most of a record.

    Parameters
    ----------
    square : float
        Its mean square, V^2.
    volts : ndarray of float64, shape (n,)
        The record, V.
    stated_hz : float
        Frequency as stated, Hz.

    Raises
    ------
    Refusal
        Where it holds less than half of the record's power.
    """
    if square < LEAST_POWER_FRACTION * np.mean(np.square(volts)):
        raise Refusal(
            f"not a tone: no line near {in_text(stated_hz, 'Hz', 6)} holds most of the signal"
        )


def carrier_of(volts: Array, rate_hz: float, stated_hz: float) -> float:
    """Mean frequency of the strongest tone near the stated one.

    Parameters
    ----------
    volts : ndarray of float64, shape (n,)
        V.
    rate_hz : float
        Sample rate, Hz.
    stated_hz : float
        Frequency as stated, Hz; looked for within 10 %.

    Returns
    -------
    float
        Hz.

    Raises
    ------
    Refusal
        Where the sample rate can't hold the tone.
    """
    from scipy import fft

    # A length with large prime factors takes several times the memory and time.
    n = fft.prev_fast_len(len(volts), real=True)
    power = np.square(np.abs(fft.rfft(volts[:n] * np.hanning(n))))
    resolution = rate_hz / n
    low = int(stated_hz * (1 - REACH) / resolution)
    high = min(int(stated_hz * (1 + REACH) / resolution) + 1, len(power))
    if high - low < 2:
        raise Refusal(
            f"a sample rate of {in_text(rate_hz, 'Hz', 6)} can't hold a tone of "
            f"{in_text(stated_hz, 'Hz', 6)}"
        )
    weights = power[low:high]
    # A tone with wow is a cluster of lines: its middle, not its strongest one.
    strong = np.where(weights > 1e-3 * weights.max(), weights, 0.0)
    return float(np.dot(np.arange(low, high), strong) / strong.sum() * resolution)


def played_hz(volts: Array, rate_hz: float, stated_hz: float) -> float | None:
    """Where a machine's tone lies, by the sample rate that its file states.

    Parameters
    ----------
    volts : ndarray of float64, shape (n,)
        V; two seconds in the middle are looked at.
    rate_hz : float
        Sample rate as the file states, Hz.
    stated_hz : float
        Frequency of the tone as stated, Hz; looked for within 10 %.

    Returns
    -------
    float or None
        Hz; None where the sample rate can't hold it, or no tone there holds most of the stretch.
    """
    count = min(len(volts), round(GLANCE_S * rate_hz))
    first = (len(volts) - count) // 2
    some = volts[first : first + count]
    try:
        carrier = carrier_of(some, rate_hz, stated_hz)
        amplitude = _phasors(some, rate_hz, carrier, round(LEAST_PERIODS / carrier * rate_hz))
        refuse_no_tone(2 * float(np.mean(np.square(np.abs(amplitude)))), some, stated_hz)
    except Refusal:
        return None
    return carrier


def _phasors(volts: Array, rate_hz: float, carrier: float, block: int) -> np.ndarray:
    """Complex amplitude in each block."""
    count = len(volts) // block
    turn = np.exp(-2j * np.pi * carrier / rate_hz * np.arange(count * block))
    return np.asarray((volts[: count * block] * turn).reshape(count, block).mean(axis=1))


def _windows(phase: Array, step_s: float) -> Array:
    """Mean frequency offset over whole windows that begin at several shifts."""
    width = round(WINDOW_S / step_s)
    shift = width // SHIFTS
    count = (len(phase) - 1 - (SHIFTS - 1) * shift) // width
    starts = np.arange(SHIFTS)[:, None] * shift + np.arange(count + 1) * width
    return np.asarray(np.diff(phase[starts], axis=1) / (2 * np.pi * width * step_s))
