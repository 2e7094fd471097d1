"""Lines beside a tone that are none of its harmonics: mains sidebands and mirrored harmonics."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from backbench.signal.mains import mains_frequency
from backbench.signal.mains_places import OFF_NOMINAL
from backbench.signal.power import MeanSquare, lobes
from backbench.signal.spectrum import read_lines
from backbench.signal.tone import ToneLines
from backbench.signal.track import Array

HUM_STANDING = 12.0
"""A neighbour counts as a mains line above this times its noise: once in 160 000 by chance."""

SIDEBANDS = 6
MIRRORED = 40
"""Harmonics up to this order are looked for where sampling would mirror them."""
HUM_REACH = 40
"""Multiples of the mains frequency up to this one may be lines of their own."""


class Sidebands(NamedTuple):
    """A pair of lines at the tone's frequency +/- n times the mains frequency.

    Parameters
    ----------
    n : int
        The multiple, >= 1.
    square : MeanSquare
        Of both lines together, V^2.
    """

    n: int
    square: MeanSquare


def mains_sidebands(lines: ToneLines, nominal_hz: float) -> list[Sidebands]:
    """Pairs of sidebands that stand clear of the fundamental, its harmonics and 0 Hz.

    Parameters
    ----------
    lines : ToneLines
        The tone.
    nominal_hz : float
        Mains frequency as stated, Hz.

    Returns
    -------
    list of Sidebands
        V^2, by rising multiple, 1 to 6; also pairs that don't stand out of the noise.
    """
    df = lines.spectrum.resolution_hz
    known = lines.position > (SIDEBANDS + 1) * nominal_hz / df
    mains = mains_frequency(lines.spectrum, lines.noise, nominal_hz) if known else nominal_hz
    places = []
    for n in range(1, SIDEBANDS + 1):
        away = n * mains / df
        reach = lines.half + OFF_NOMINAL / 4 * away
        if away < lines.half + reach or away + reach + lines.half > lines.position:
            continue
        if lines.position + away + reach >= len(lines.noise):
            continue
        places.append((n, away, reach))
    return _pairs(lines, places)


def _pairs(lines: ToneLines, places: list[tuple[int, float, float]]) -> list[Sidebands]:
    """The pairs at multiples that are so many bins away, each with its reach."""
    own, samples, at = lines.spectrum, lines.samples, lines.position
    ends = [(centre - reach, centre + reach) for _, away, reach in places
            for centre in (at - away, at + away)]  # fmt: skip
    first = np.array([math.ceil(low) for low, _ in ends], dtype=np.int_)
    stop = np.array([math.floor(high) + 1 for _, high in ends], dtype=np.int_)
    value, floor, slope = (
        each.tolist() for each in lobes(own.power, lines.noise, own.window.spread, first, stop)
    )
    return [
        Sidebands(
            n,
            MeanSquare(
                value[k] + value[k + 1], floor[k] + floor[k + 1], max(slope[k], slope[k + 1]),
                samples,
            ),
        )
        for k, (n, _, _) in zip(range(0, len(value), 2), places, strict=True)
    ]  # fmt: skip


def on_mains_multiple(lines: ToneLines, nominal_hz: float) -> int | None:
    """The multiple of the mains that the tone lies on, as far as the record tells them apart.

    Parameters
    ----------
    lines : ToneLines
        The tone.
    nominal_hz : float
        Mains frequency as stated, Hz.

    Returns
    -------
    int or None
        None where it lies clear between two.
    """
    step = nominal_hz / lines.spectrum.resolution_hz
    multiple = round(lines.position / step)
    apart = abs(lines.position - multiple * step)
    reach = min(2 * lines.half + OFF_NOMINAL / 4 * lines.position, step / 2)
    return multiple if apart <= reach and multiple else None


class Mirrored(NamedTuple):
    """A line where sampling would mirror a harmonic that lies above half the sample rate.

    Parameters
    ----------
    order : int
        Of the harmonic.
    hz : float
        The harmonic's own frequency, Hz.
    seen_hz : float
        Where sampling mirrors it, Hz.
    square : MeanSquare
        V^2.
    """

    order: int
    hz: float
    seen_hz: float
    square: MeanSquare


def reaches_above_half(lines: ToneLines) -> bool:
    """Whether any of the harmonics that are looked at lies above half the sample rate.

    Parameters
    ----------
    lines : ToneLines
        The tone.

    Returns
    -------
    bool
    """
    return MIRRORED * lines.position > lines.spectrum.length / 2


def mirrored_harmonics(lines: ToneLines) -> list[Mirrored]:
    """Every place where a harmonic of order up to 40 would be mirrored to, and what stands there.

    Parameters
    ----------
    lines : ToneLines
        The tone.

    Returns
    -------
    list of Mirrored
        Hz and V^2, by rising order. Places on a harmonic of the tone, on a mains line or near 0 Hz
        tell nothing: left out.
    """
    whole = lines.spectrum.length
    if not reaches_above_half(lines):
        return []
    orders = np.arange(2, MIRRORED + 1)
    true = orders * lines.position
    folded = np.abs(true - whole * np.rint(true / whole))
    usable = (true > whole / 2) & (folded > 2 * lines.half) & (folded < len(lines.noise) - 2)
    usable &= _apart(folded, lines.position) > 2 * lines.half
    step = (lines.mains_hz or 0.0) / lines.spectrum.resolution_hz
    if step > 0:
        usable &= (folded > (HUM_REACH + 0.5) * step) | (
            _apart(folded, step) > lines.half + OFF_NOMINAL / 4 * folded
        )
    if not usable.any():
        return []
    orders, true, folded = orders[usable], true[usable], folded[usable]
    read = read_lines(lines.spectrum, folded)
    noise = read.noise_at(folded, lines.noise)
    df = lines.spectrum.resolution_hz
    return [
        Mirrored(int(n), float(t * df), float(f * df),
                 MeanSquare(float(s - m), float(m**2), 2 * float(m), lines.samples))
        for n, t, f, s, m in zip(orders, true, folded, read.square, noise, strict=True)
    ]  # fmt: skip


def _apart(positions: Array, step: float) -> Array:
    """Distance to the nearest multiple of a step."""
    away: Array = np.abs(positions - np.rint(positions / step) * step)
    return away


def stands(one: Mirrored) -> bool:
    """Whether a mirrored harmonic is there beyond doubt (dozens of places are looked at).

    Parameters
    ----------
    one : Mirrored
        A place as mirrored_harmonics gives it.

    Returns
    -------
    bool
    """
    return one.square.value > HUM_STANDING * math.sqrt(one.square.floor)
