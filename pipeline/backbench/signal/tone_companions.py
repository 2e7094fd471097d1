"""Lines that belong to a tone that a converter plays: its images, and sidebands in pairs."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from backbench.signal.power import MeanSquare
from backbench.signal.sidebands import HUM_STANDING
from backbench.signal.spectrum import peak_position, read_lines
from backbench.signal.tone import ToneLines

REACH_HZ = 5000.0
"""Sidebands are looked for up to this far from the tone (common practice, no source)."""
UNSEEN = 21.0
"""Power re the noise's from which 95 of 100 lines are seen above HUM_STANDING times the noise:
(sqrt(12) + 1.645 / sqrt(2))^2."""
ALIKE = 16.0
"""Powers of the two lines of a pair differ by less than this."""


class SidebandPair(NamedTuple):
    """Two lines at equal distances from a tone, or the most that such may hide.

    Parameters
    ----------
    away_hz : float
        Their distance from the tone, Hz; 0 where none stands out.
    ratio : float
        Root of their mean squares together re the tone's, a ratio of amplitudes.
    phase : float
        Amplitude re the tone's of either line of the part that modulates its phase.
    amplitude : float
        The same of the part that modulates its amplitude.
    u : float
        Standard uncertainty of each of these.
    """

    away_hz: float
    ratio: float
    phase: float
    amplitude: float
    u: float


def line_at(lines: ToneLines, position: float) -> MeanSquare:
    """Mean square of the line at a place of a tone's spectrum.

    Parameters
    ----------
    lines : ToneLines
        The tone.
    position : float
        Fractional bins, within the band whose noise is known.

    Returns
    -------
    MeanSquare
        V^2.
    """
    place = np.array([position])
    read = read_lines(lines.spectrum, place)
    noise = float(read.noise_at(place, lines.noise)[0])
    return MeanSquare(float(read.square[0]) - noise, noise**2, 2 * noise, lines.samples)


def sideband_pair(lines: ToneLines) -> SidebandPair:
    """The strongest pair of lines at equal distances on both sides of a tone.

    Parameters
    ----------
    lines : ToneLines
        The tone; at least 20 lobes from 0 Hz and from the end of the band.

    Returns
    -------
    SidebandPair
        The lesser line of a pair decides which is the strongest; a lone line is none.

    Notes
    -----
    With a+ and a- the phasors of the lines re the tone's, phase modulation of index b makes
    (a+ - conj a-) / 2 of magnitude b / 2, amplitude modulation of depth m makes
    (a+ + conj a-) / 2 of magnitude m / 2 (closed form).
    """
    middle, power = round(lines.position), lines.spectrum.power
    first = math.ceil(2 * lines.half)
    reach = min(int(REACH_HZ / lines.spectrum.resolution_hz), middle - first,
                len(lines.noise) - 2 - middle)  # fmt: skip
    away = np.arange(first, max(reach, first + 1))
    above, below = power[middle + away], power[middle - away]
    noise = np.maximum(lines.noise[middle + away], lines.noise[middle - away])
    weaker = np.minimum(above, below)
    standing = (weaker > HUM_STANDING * noise) & (np.maximum(above, below) < ALIKE * weaker)
    carrier = lines.fundamental.value
    if not standing.any():
        most = math.sqrt(UNSEEN * float(noise.max()) / carrier)
        return SidebandPair(0.0, math.sqrt(2) * most, most, most, 0.0)
    best = int(away[np.argmax(np.where(standing, weaker, 0.0))])
    apart = peak_position(lines.spectrum, middle + best) - lines.position
    return _pair(lines, apart, carrier)


def _pair(lines: ToneLines, apart: float, carrier: float) -> SidebandPair:
    places = lines.position + np.array([apart, -apart])
    read = read_lines(lines.spectrum, places)
    noise = float(read.noise_at(places, lines.noise).mean())
    root = math.sqrt(carrier)
    upper, lower = np.sqrt(read.square) / root * np.exp(1j * (read.phase - lines.phase))
    square = max(float(read.square.sum()) - 2 * noise, 0.0)
    return SidebandPair(
        away_hz=apart * lines.spectrum.resolution_hz,
        ratio=math.sqrt(square) / root,
        phase=abs(upper - np.conj(lower)) / 2,
        amplitude=abs(upper + np.conj(lower)) / 2,
        u=math.sqrt(noise) / root,
    )
