"""Transfer function from an exponential sine sweep and a record of what was played.

The output's spectrum is divided by that of what was played. In the impulse response that this
gives, each harmonic of order k arrives earlier than the linear response by L ln k, with
L = duration / ln(stop / start), because an exponential sweep reaches k times a frequency that
much later; a window about the linear response leaves the harmonics out. (Swept-sine technique
of A. Farina, AES 108th Convention, 2000; cited from memory.)
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from weakref import WeakKeyDictionary

import numpy as np

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.power import product, squared
from backbench.signal.sweep_deconvolved import Deconvolved
from backbench.signal.sweep_delay import speed_error
from backbench.signal.sweep_early import early_and_late, early_arrivals, early_of_wire
from backbench.signal.sweep_excitation import PlayedSweep, played_sweep
from backbench.signal.sweep_impulse import SweptImpulse, continued, on_grid, swept_impulses
from backbench.signal.sweep_late import late_clicks
from backbench.signal.sweep_offset import moved_offset
from backbench.signal.sweep_steadiness import refuse_unsteady
from backbench.signal.sweep_window import Complex, SweepParameters, noise_density
from backbench.signal.track import Array

LEAST_LINEAR = 0.5
"""Share of the output's energy that the linear response must explain."""
LEAST_COVERED = 0.25
"""Share of the noise window that must lie within the record for the noise to be read from it."""


@dataclass(frozen=True, eq=False)
class Transfer:
    """Output over input on a grid of frequencies, arrival removed.

    Parameters
    ----------
    frequency_hz : ndarray of float64, shape (k,)
        Rising, Hz.
    ratio : ndarray of complex128, shape (k,)
        Output over input.
    noise : ndarray of float64, shape (k,)
        Standard uncertainty of |ratio| from what is in the record besides the linear response:
        noise, and as much as arrives before it.
    arrival_s : float
        Delay of the output after the input, s, to the record's sample.
    below : ndarray of float64, shape (k,), or None
        The part of `noise` that comes from how the response may go on below the sweep, with the
        sign of sweep_impulse.continued.
    """

    frequency_hz: Array
    ratio: Complex
    noise: Array
    arrival_s: float
    below: Array | None = None


def transfer(
    played: Array,
    recorded: Array,
    rate_hz: float,
    sweep: SweepParameters,
    least_linear: float = LEAST_LINEAR,
) -> Transfer:
    """The linear transfer function from what was played to what was recorded.

    Parameters
    ----------
    played : ndarray of float64, shape (n,)
        Volts or full scale.
    recorded : ndarray of float64, shape (m,)
        V.
    rate_hz : float
        Sample rate of both, Hz.
    sweep : SweepParameters
        What was to be played.
    least_linear : float, optional
        Share of the output's energy that it must explain, 0 to 1; 0 for crosstalk in noise.

    Returns
    -------
    Transfer

    Raises
    ------
    Refusal
        Where `played` is no such sweep or `recorded` doesn't follow it.

    References
    ----------
    A. Farina, AES 108th Convention, 2000 (swept-sine technique; cited from memory).
    """
    return transfer_of(played_sweep(played, len(recorded), rate_hz, sweep), recorded, least_linear)


def transfer_of(
    sent: PlayedSweep,
    recorded: Array,
    least_linear: float = LEAST_LINEAR,
    response: SweptImpulse | None = None,
) -> Transfer:
    """As transfer, for a sweep that was made ready.

    Parameters
    ----------
    sent : PlayedSweep
        The sweep.
    recorded : ndarray of float64, shape (m,)
        V; no longer than the sweep was made ready for.
    least_linear : float, optional
        See transfer.
    response : SweptImpulse, optional
        What swept_impulses gives of it; made where not given.

    Returns
    -------
    Transfer

    Raises
    ------
    Refusal
        Where the output is silent, doesn't follow the sweep, breaks off or jumps, or ends too soon
        to tell its noise.
    """
    energy = product(recorded, recorded)
    if energy == 0:
        raise Refusal("the output is silent")
    made = response or swept_impulses(sent, [_transformed(recorded, sent.size)])[0]
    ratio = on_grid(sent, made.spectrum)
    _refuse_unexplained(sent, made.spectrum, energy, least_linear)
    late = (made.arrival - made.peak * sent.step) / sent.rate_hz
    ratio *= np.exp(2j * np.pi * sent.grid * late)
    arrival_s = _delay(sent, made.arrival)
    noise = _noise(sent, made.beside, arrival_s, len(recorded) / sent.rate_hz)
    wander = 0.0
    if least_linear > 0:
        deconvolved = Deconvolved(
            quotient=made.quotient, continued=made.continued, impulse=made.impulse,
            peak=made.peak, arrival_s=arrival_s, spectrum=made.spectrum, ratio=ratio, noise=noise,
        )  # fmt: skip
        refuse_unsteady(sent, deconvolved)
        wander = speed_error(sent, deconvolved)
    early = early_arrivals(sent, made.impulse, made.peak, np.abs(ratio), partial(_of_wire, sent))
    besides = np.hypot(noise, early_and_late(sent, early))
    besides = np.hypot(besides, late_clicks(sent, recorded, arrival_s))
    besides = np.hypot(besides, moved_offset(sent, recorded, arrival_s))
    besides = np.hypot(np.hypot(besides, wander * np.abs(ratio)), made.unsure)
    return Transfer(sent.grid, ratio, besides, arrival_s, made.unsure)


def _transformed(recorded: Array, size: int) -> Complex:
    from scipy import fft

    return np.asarray(fft.rfft(recorded, size))


_wires: WeakKeyDictionary[PlayedSweep, Array] = WeakKeyDictionary()


def _of_wire(sent: PlayedSweep) -> Array:
    """What the sweep's own ends leave before the arrival of a wire, reckoned once for a sweep."""
    from scipy import fft

    if sent not in _wires:
        impulse = fft.irfft(1 - sent.lost, sent.samples)
        beyond, _ = continued(sent, on_grid(sent, sent.window.cut(impulse, 0)))
        impulse += fft.irfft(sent.lost * beyond, sent.samples)
        _wires[sent] = early_of_wire(sent, impulse)
    return _wires[sent]


def _delay(sent: PlayedSweep, arrival: int) -> float:
    """Delay in s of a place in the circular response: the sweep's middle was recorded."""
    late = sent.middle_s * sent.rate_hz + arrival >= sent.size
    return (arrival - sent.size if late else arrival) / sent.rate_hz


def _refuse_unexplained(sent: PlayedSweep, spectrum: Complex, energy: float, least: float) -> None:
    """Raise Refusal where the output is mostly something else than the sweep through a system.

    energy: sum of the record's squares.
    """
    explained = product(squared(spectrum), sent.held_by_window) / (energy * sent.size / 2)
    if explained < least:
        raise Refusal(
            f"the sweep explains only {in_text(100 * explained, '%', 2)} of the output's energy"
        )


def _noise(sent: PlayedSweep, beside: Complex, arrival_s: float, length_s: float) -> Array:
    """Standard uncertainty of the ratio's magnitude on the grid.

    beside: spectrum of the impulse response just after the window, where only what does not follow
    the sweep is left, through the same window. It is averaged over neighbouring frequencies, as at
    the output: white noise is level there, so that the mean is drawn neither up nor down. Where the
    record is too short for that stretch, the noise density of the nearest lower frequency that it
    covers is taken: noise of an amplifier falls or stays level with frequency.
    Raises Refusal where nothing is left to read the noise from.
    """
    coverage = _noise_coverage(sent, arrival_s, length_s)
    known = coverage >= LEAST_COVERED
    if not known.any():
        raise Refusal("the recording ends too soon after the sweep to tell its noise")
    window = sent.window
    left = squared(beside) * sent.cell_density
    density = noise_density(left, window, sent.own_rate_hz, sent.grid)
    filled = np.where(known, density / np.maximum(coverage, LEAST_COVERED), 0.0)
    nearest = np.maximum.accumulate(np.where(known, np.arange(len(sent.grid)), 0))
    filled = filled[np.maximum(nearest, int(np.flatnonzero(known)[0]))]
    return np.asarray(np.sqrt(filled / sent.grid_density / 2))


def _noise_coverage(sent: PlayedSweep, arrival_s: float, length_s: float) -> Array:
    """Share of the noise window that the record covers, at each frequency, 0 to 1.

    What lies after the transform's end comes round to the record's beginning.
    """
    whole = sent.size / sent.rate_hz
    lasting = len(sent.window.weights) / sent.own_rate_hz
    begins = (sent.passed_s(sent.grid) + arrival_s + sent.after_s) % whole
    before_end = np.clip(length_s - begins, 0, lasting)
    come_round = np.clip(begins + lasting - whole, 0, min(length_s, lasting))
    return np.asarray((before_end + come_round) / lasting)
