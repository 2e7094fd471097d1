"""A periodic signal through one output: exact for the steady state."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backbench.seed_dataset.behaviour import Behaviour
from backbench.seed_dataset.series import laid_out

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
FLOOR = 1e-9


def steady(behaviour: Behaviour, played: Complex, base_hz: float, about_hz: float,
           load_ohm: float) -> Complex:  # fmt: skip
    """Spectrum at the terminals for a periodic generator EMF.

    played: complex amplitudes of base_hz x 0, 1, 2, … in volts peak, shape (k,); the signal is
        the real part of their sum. Made of period samples at twice that many points, so the
        band of `played` should be several times that of the signal (harmonics fold otherwise).
    about_hz: frequency that decides the frequency-dependent curvature.
    load_ohm: > 0, or inf for open.
    """
    frequency = np.arange(len(played), dtype=np.float64) * base_hz
    rail = behaviour.rail_v
    drive = samples(played * behaviour.before(frequency) * behaviour.gain / rail)
    bent = behaviour.transfer.at(about_hz)(drive, behaviour.ceiling(load_ohm))
    emf = lines(bent) * rail
    emf *= behaviour.roll_off.after(frequency) * behaviour.polarity
    if behaviour.roll_off.output_hz == 0:
        emf[0] = 0.0  # a servo or the feedback's capacitor holds the mean at zero
    return np.asarray(emf * behaviour.divided(load_ohm, frequency), dtype=np.complex128)


def samples(amplitudes: Complex) -> Array:
    """One period in 2 (k - 1) points from complex amplitudes of shape (k,)."""
    halved = amplitudes * (len(amplitudes) - 1)
    halved[0] = 2 * halved[0]
    return np.fft.irfft(halved)


def lines(period: Array) -> Complex:
    """Complex amplitudes, shape (n/2 + 1,), of one period of n points."""
    found = np.fft.rfft(period) * (2 / len(period))
    found[0] /= 2
    return np.asarray(found, dtype=np.complex128)


def unfolded(amplitudes: Complex, base_hz: float, n: int, rate_hz: float, top_hz: float) -> Array:
    """The signal at n instants from its complex amplitudes, up to top_hz (exclusive)."""
    below = amplitudes[: int(np.ceil(top_hz / base_hz))]
    return laid_out(np.where(np.abs(below) > FLOOR, below, 0.0), base_hz, n, rate_hz)
