"""Sweeps during which the level or the time changed are refused; others aren't."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.signal import bilinear, butter, lfilter, resample_poly

from backbench.errors import Refusal
from backbench.signal.sweep import transfer
from swept import played

SENT = played()
RATE = SENT.rate_hz
TIME = np.arange(len(SENT.volts)) / RATE
RNG = np.random.default_rng(8)
UNIT = lfilter(*butter(2, 15_000, fs=RATE), lfilter(*butter(2, 12, "high", fs=RATE), SENT.volts))
Change = Callable[[np.ndarray, int], np.ndarray]


def measured(volts: np.ndarray) -> np.ndarray:
    noisy = volts + 1e-4 * np.random.default_rng(1).normal(size=len(volts))
    return transfer(SENT.volts, noisy, RATE, SENT.sweep).ratio


def _place(hz: float) -> int:
    """Sample at which the sweep passes a frequency."""
    return round((0.1 + SENT.sweep.scale_s * np.log(hz / SENT.sweep.start_hz)) * RATE)


def _stepped(volts: np.ndarray, at: int) -> np.ndarray:
    return np.concatenate([volts[:at], volts[at:] * 10 ** (-1 / 20)])


def _gap(volts: np.ndarray, at: int) -> np.ndarray:
    return np.concatenate([volts[:at], np.zeros(240), volts[at + 240 :]])


def _dropped(volts: np.ndarray, at: int) -> np.ndarray:
    return np.delete(volts, slice(at, at + 48))


def _repeated(volts: np.ndarray, at: int) -> np.ndarray:
    return np.insert(volts, at, volts[at - 48 : at])


def _late(volts: np.ndarray, at: int) -> np.ndarray:
    return np.concatenate([np.zeros(at), volts[at:]])


def _early(volts: np.ndarray, at: int) -> np.ndarray:
    return np.concatenate([volts[:at], np.zeros(len(volts) - at)])


@pytest.mark.parametrize("change", [_stepped, _gap, _dropped, _repeated, _late, _early])
@pytest.mark.parametrize("hz", [150.0, 1210.0, 9700.0])
def test_a_change_while_the_sweep_passes_is_refused(change: Change, hz: float) -> None:
    """A step of 1 dB, a gap of 5 ms, 1 ms dropped or repeated, a late start, an early end."""
    with pytest.raises(Refusal, match=r"record again|explains only"):
        measured(change(UNIT, _place(hz)))


def test_the_frequency_of_the_change_is_named() -> None:
    with pytest.raises(Refusal, match=r"passes (9\.\d|10|11) kHz"):
        measured(_stepped(UNIT, _place(10_000.0)))


@pytest.mark.parametrize("wow_hz", [0.6, 4.0])
def test_speed_that_wanders_is_refused(wow_hz: float) -> None:
    late = 0.003 / (2 * np.pi * wow_hz) * np.sin(2 * np.pi * wow_hz * TIME)
    with pytest.raises(Refusal, match="record again"):
        measured(np.interp(TIME + late, TIME, UNIT))


@pytest.mark.parametrize("resonant_hz", [60.0, 700.0, 8000.0])
def test_a_resonance_is_no_change(resonant_hz: float) -> None:
    """Of quality 5; its peak is 9.5 dB high, as it is in closed form: 1 + 2 at the centre."""
    w = 2 * np.pi * resonant_hz
    coefficients = bilinear([1, 3 * w / 5, w * w], [1, w / 5, w * w], RATE)
    result = np.abs(measured(lfilter(*coefficients, SENT.volts)))
    assert result.max() == pytest.approx(3, rel=0.03)


@pytest.mark.parametrize(
    "curve",
    [
        lambda x: x + 0.05 * x**2 + 0.05 * x**3,
        np.tanh,
        lambda x: x / (1 + np.abs(x) ** 8) ** (1 / 8),
        lambda x: x - 0.01 * np.tanh(x / 0.03),
    ],
)
def test_distortion_is_no_change(curve: Callable[[np.ndarray], np.ndarray]) -> None:
    """The gain is the first Fourier coefficient of the curve over a period of the sine.

    The sweep ends where harmonics don't fold back within the band.
    """
    sent = played(stop_hz=7900.0)
    result = transfer(sent.volts, curve(sent.volts), sent.rate_hz, sent.sweep)
    angle = 2 * np.pi * np.arange(4096) / 4096
    first = 2 * np.mean(curve(np.cos(angle)) * np.cos(angle))
    middle = (result.frequency_hz > 100) & (result.frequency_hz < 7000)
    np.testing.assert_allclose(np.abs(result.ratio)[middle], first, rtol=0.01)


def test_hum_and_noise_are_no_change() -> None:
    hum = sum(2e-3 * np.sin(2 * np.pi * 50 * n * TIME + n) for n in (1, 2, 3, 4, 6))
    noise = 5e-3 * RNG.normal(size=len(TIME))
    assert np.isfinite(measured(UNIT + hum + noise)).all()


def test_clocks_that_differ_as_crystals_do_are_no_change() -> None:
    """By 1e-4."""
    late = np.interp(TIME * (1 + 1e-4), TIME, UNIT)
    assert np.isfinite(measured(late)).all()


@pytest.mark.parametrize("hz", [60.0, 640.0, 5200.0])
def test_a_change_of_what_was_played_is_no_change_of_the_unit(hz: float) -> None:
    """The generator's own track shows it as well; a step of the output alone is one."""
    stepped = _stepped(SENT.volts, _place(hz))
    through = lfilter(
        *butter(2, 15_000, fs=RATE), lfilter(*butter(2, 12, "high", fs=RATE), stepped)
    )
    result = transfer(stepped, through, RATE, SENT.sweep)
    middle = (result.frequency_hz > 100) & (result.frequency_hz < 3000)
    np.testing.assert_allclose(np.abs(result.ratio)[middle], 1, rtol=0.02)
    with pytest.raises(Refusal, match="record again"):
        transfer(stepped, UNIT, RATE, SENT.sweep)


def test_speed_that_flutters_a_little_is_no_change() -> None:
    """By 0.02 % at 5 Hz, as a good tape transport does; the response stays within 0.07 dB."""
    late = 2e-4 / (2 * np.pi * 5) * np.sin(2 * np.pi * 5 * TIME)
    finer = resample_poly(UNIT, 8, 1)
    result = measured(np.interp(TIME + late, np.arange(len(finer)) / (8 * RATE), finer))
    ratio = np.abs(result) / np.abs(measured(UNIT))
    np.testing.assert_allclose(ratio[24:-12], 1, atol=8e-3)
