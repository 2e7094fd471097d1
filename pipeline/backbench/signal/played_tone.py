"""A tone played from tape or disc, followed along its own frequency: level and speed over time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.track import Array
from backbench.signal.transport_speed import carrier_of, refuse_no_tone

HALF_WIDTH_HZ = 600.0
HALF_WIDTH_SHARE = 0.4
"""The band beside the tone that is kept: 600 Hz, at most 0.4 of its frequency, so that neither its
harmonics nor hum is in it."""
FLAT_SHARE = 0.75
OVERSAMPLED = 4
EDGE_S = 0.2
"""Left out at both ends, where the band's filter rings from the end of the record."""
LOW_SHARE = 0.5
"""A drop-out is a fall of the level below this share of its median: 6 dB."""
GUARD_S = 0.05
"""Left out on both sides of a drop-out, where the frequency has not settled again."""


@dataclass(frozen=True, eq=False)
class PlayedTone:
    """The tone as it comes from the medium, at a lower sample rate.

    Parameters
    ----------
    carrier_hz : float
        Its mean frequency, Hz.
    rate_hz : float
        Sample rate of the arrays, Hz.
    level : ndarray of float64, shape (n,)
        Rms, V.
    hz : ndarray of float64, shape (n,)
        Frequency, Hz.
    phasor : ndarray of complex128, shape (n,)
        Amplitude (peak, V) and phase re a tone of carrier_hz that began with the record.
    noise : float
        Density of the noise beside the tone, V^2/Hz.
    """

    carrier_hz: float
    rate_hz: float
    level: Array
    hz: Array
    phasor: np.ndarray
    noise: float

    @property
    def seconds(self) -> float:
        """Length of the arrays, s."""
        return len(self.level) / self.rate_hz

    @cached_property
    def median_level(self) -> float:
        """Median of the level, V rms: drop-outs hardly move it."""
        return float(np.median(self.level))

    @cached_property
    def low(self) -> np.ndarray:
        """Where the level has dropped out."""
        return np.asarray(self.level < LOW_SHARE * self.median_level)

    @cached_property
    def clear(self) -> slice:
        """The longest stretch without a drop-out."""
        from scipy.ndimage import binary_dilation

        if not self.low.any():
            return slice(0, len(self.level))
        width = 2 * round(GUARD_S * self.rate_hz) + 1
        spoiled = binary_dilation(self.low, np.ones(width, dtype=bool))
        ends = np.flatnonzero(np.diff(np.concatenate([[1], spoiled.astype(int), [1]])))
        longest = int(np.argmax(ends[1::2] - ends[::2])) if len(ends) else 0
        return slice(int(ends[2 * longest]), int(ends[2 * longest + 1])) if len(ends) else slice(0)


def played_tone(
    volts: Array, rate_hz: float, stated_hz: float, carrier_hz: float | None = None
) -> PlayedTone:
    """Follow a tone along its own frequency.

    Parameters
    ----------
    volts : ndarray of float64, shape (n,)
        V.
    rate_hz : float
        Sample rate, Hz.
    stated_hz : float
        Frequency as stated, Hz; looked for within 10 %.
    carrier_hz : float or None
        Mean frequency, Hz, where it is known from another track of the same record.

    Returns
    -------
    PlayedTone
        Without the first and last 0.2 s.

    Raises
    ------
    Refusal
        Where the record is too short, or holds no such tone.

    Notes
    -----
    The analytic signal of a band about the tone, whose derivative in the frequency domain gives the
    frequency exactly: f = Im(z' conj z) / (2 pi |z|^2).
    """
    seconds = len(volts) / rate_hz
    if seconds < 5 * EDGE_S:
        raise Refusal(f"{in_text(seconds, 's')} are too short to follow a tone")
    carrier = carrier_hz or carrier_of(volts, rate_hz, stated_hz)
    phasor, slope, rate, noise = _of_band(volts, rate_hz, carrier)
    edge = round(EDGE_S * rate)
    phasor, slope = phasor[edge:-edge], slope[edge:-edge]
    power = np.square(np.abs(phasor))
    refuse_no_tone(float(power.mean()) / 2, volts, stated_hz)
    turn = (slope * phasor.conj()).imag / (2 * np.pi * np.maximum(power, 1e-30))
    return PlayedTone(carrier, rate, np.sqrt(power / 2), carrier + turn, phasor, noise)


def _of_band(
    volts: Array, rate_hz: float, carrier: float
) -> tuple[np.ndarray, np.ndarray, float, float]:
    """Phasor of the band about the carrier, its derivative, their sample rate, noise in V^2/Hz."""
    from scipy import fft

    n = fft.prev_fast_len(len(volts), real=True)
    resolution = rate_hz / n
    half = round(min(HALF_WIDTH_HZ, HALF_WIDTH_SHARE * carrier) / resolution)
    middle = round(carrier / resolution)
    lines = fft.rfft(volts[:n])[max(middle - half, 1) : middle + half + 1]
    offset = np.arange(len(lines)) - (middle - max(middle - half, 1))
    noise = _noise_density(lines, offset / half, resolution, n)
    away = np.clip((np.abs(offset) / half - FLAT_SHARE) / (1 - FLAT_SHARE), 0.0, 1.0)
    kept = lines * (0.5 + 0.5 * np.cos(np.pi * away))
    count = fft.next_fast_len(2 * OVERSAMPLED * half)
    band, rise = np.zeros(count, dtype=complex), np.zeros(count, dtype=complex)
    apart = offset * resolution - (carrier - middle * resolution)
    band[offset], rise[offset] = kept, kept * 2j * np.pi * apart
    scale = 2 * count / n
    rate = count * resolution
    turn = np.exp(-2j * np.pi * (carrier - middle * resolution) * np.arange(count) / rate)
    phasor, slope = fft.ifft(band) * scale * turn, fft.ifft(rise) * scale * turn
    return phasor, slope, rate, noise


def _noise_density(lines: np.ndarray, share: Array, resolution: float, n: int) -> float:
    """V^2/Hz, one-sided, from the median of the outer lines, which lines of flutter don't move."""
    outer = np.square(np.abs(lines[(np.abs(share) > FLAT_SHARE)]))
    if not len(outer):
        return 0.0
    return float(np.median(outer) / math.log(2) * 2 / (n**2 * resolution))
