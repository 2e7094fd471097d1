"""How a response goes on below a sweep: networks with closed forms, and what a window shows."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from backbench.signal.sweep import transfer
from backbench.signal.sweep_below import carried_on, through_window
from backbench.signal.sweep_window import Complex
from backbench.signal.track import Array
from swept import played

GRID = 11.0 * 2 ** (np.arange(120) / 24)
BELOW = np.array([0.5, 1.0, 3.0, 6.0, 9.0])
NETWORKS = {
    "direct": ([1.0], [1.0]),
    "first order": ([1.0, 0.0], [1.0, 2 * np.pi * 20]),
    "second order": signal.butter(2, 2 * np.pi * 12, "high", analog=True),
    "third order": signal.butter(3, 2 * np.pi * 15, "high", analog=True),
    "resonance": ([1.0, 0.0, 0.0], [1.0, 2 * np.pi * 4, (2 * np.pi * 8) ** 2]),
    "shelf": ([1.0, 2 * np.pi * 30], [1.0, 2 * np.pi * 8]),
}


def _through(name: str, hz: Array) -> Complex:
    return np.asarray(signal.freqs(*NETWORKS[name], worN=2 * np.pi * hz)[1])


@pytest.mark.parametrize("name", sorted(NETWORKS))
def test_networks_of_the_trade_are_carried_on_as_they_are(name: str) -> None:
    """Laplace transfer functions of high-passes and a shelf, by their closed forms."""
    below = carried_on(BELOW, GRID, _through(name, GRID))
    assert below.fits
    assert below.network == pytest.approx(_through(name, BELOW), abs=2e-3)


def test_a_power_of_frequency_goes_on() -> None:
    slope = 0.01 * GRID**1.5 * np.exp(0.4j)
    assert carried_on(BELOW, GRID, slope).plain == pytest.approx(0.01 * BELOW**1.5 * np.exp(0.4j))


def test_noise_is_no_network() -> None:
    rng = np.random.default_rng(3)
    noise = rng.standard_normal((2, len(GRID)))
    assert not carried_on(BELOW, GRID, noise[0] + 1j * noise[1]).is_likely


def test_bins_through_a_window_are_as_by_transforms() -> None:
    """The window's own transform: of the bins, made an impulse response, cut and transformed."""
    rng, samples, rate, before = np.random.default_rng(5), 12_000, 8000.0, 300
    weights = signal.windows.hann(3200)
    bins = np.zeros(samples // 2 + 1, dtype=complex)
    bins[:14] = rng.standard_normal(14) + 1j * rng.standard_normal(14)
    bins[0] = bins[0].real
    impulse = np.fft.irfft(bins, samples)
    cut = np.take(impulse, np.arange(-before, 3200 - before), mode="wrap") * weights
    time = (np.arange(3200) - before) / rate
    near = GRID[:60]
    expected = np.exp(-2j * np.pi * np.outer(near, time)) @ cut
    window = through_window(weights, before, rate_hz=rate, samples=samples, grid=GRID, bins=14)
    assert window.shown(bins[:14])[:60] == pytest.approx(expected, abs=1e-4 * abs(expected).max())
    assert window.uncertainty(bins[:14])[:60] == pytest.approx(
        abs(expected) / np.sqrt(3), abs=1e-4 * abs(expected).max()
    )


@pytest.mark.parametrize("name", ["direct", "first order", "resonance", "shelf"])
def test_what_lies_below_a_sweep_leaves_20_hz_as_it_is(name: str) -> None:
    """After the bilinear transform, whose closed form is known at every frequency."""
    sent = played(seconds=2.0)
    b, a = signal.bilinear(*NETWORKS[name], fs=sent.rate_hz)
    output = signal.lfilter(b, a, sent.volts)
    found = transfer(sent.volts, output, sent.rate_hz, sent.sweep)
    at = int(np.argmin(np.abs(found.frequency_hz - 20)))
    right = abs(signal.freqz(b, a, [found.frequency_hz[at]], fs=sent.rate_hz)[1][0])
    off = abs(found.ratio[at]) / right - 1
    assert abs(off) < 5e-4
    assert abs(off) < 2 * found.noise[at] / right
