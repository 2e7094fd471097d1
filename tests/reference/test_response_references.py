"""Impedance, balance and response against tabled values and a second method."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import butter, coherence, csd, lfilter, welch

from backbench.signal.impedance import Loaded, regulation_resistance
from backbench.signal.sweep import transfer
from bench_readings import one, reading
from swept import played

VALUES = Path(__file__).parent / "tables" / "check_values.csv"


def tabled(start: str) -> float:
    """A value of the table of check values, all computed from the stated formula."""
    with VALUES.open(encoding="utf-8") as file:
        (row,) = [row for row in csv.reader(file) if row[0].startswith(start)]
    return float(row[2])


def across(volts: float, ohm: float) -> Loaded:
    return Loaded(volts, 0.0, ohm, 0.0)


def test_open_and_loaded_voltages() -> None:
    result = regulation_resistance(across(1.0, float("inf")), across(0.99, 8.0)).value
    assert result == pytest.approx(tabled("Zout from 1.000 V open"), rel=1e-9)
    assert 8 / result == pytest.approx(tabled("damping factor of that"), rel=1e-9)


def test_fall_from_8_to_4_ohm() -> None:
    k = 10 ** (0.5 / 20)
    result = regulation_resistance(across(k, 8.0), across(1.0, 4.0)).value
    assert result == pytest.approx(tabled("Zo from gain 8->4 ohm change -0.5 dB"), rel=1e-9)


@pytest.mark.parametrize("ohm", ["0.05", "0.5", "1", "2", "3"])
def test_gain_changes_lead_back_to_their_source(ohm: str) -> None:
    """Trade figures for the fall of gain when the load is halved; values computed."""
    fall = tabled(f"gain change 8->4 ohm, Zo={ohm}")
    result = regulation_resistance(across(1.0, 8.0), across(10 ** (fall / 20), 4.0)).value
    assert result == pytest.approx(float(ohm), rel=1e-8)


def test_balance() -> None:
    readings = [reading("level", 1.0, output="left"), reading("level", 0.98, output="right")]
    result = one("channel_balance", readings).figure.value
    assert result == pytest.approx(tabled("channel balance .98 vs 1"), rel=1e-9)


def test_a_sweep_agrees_with_averaged_cross_spectra_of_noise() -> None:
    """scipy.signal: cross spectral density over power density of white noise, 150 segments.

    The random error of that estimate is 8.686 sqrt((1 - c) / (2 n c)) dB for coherence c
    (Bendat and Piersol, from memory): 0.009 dB for c = 0.9999 and n = 73 independent segments.
    """
    sent = played()
    system = butter(2, [80, 6000], "bandpass", fs=sent.rate_hz)
    result = transfer(sent.volts, lfilter(*system, sent.volts), sent.rate_hz, sent.sweep)
    noise = np.random.default_rng(6).normal(size=1_200_000)
    heard = lfilter(*system, noise)
    shape = {"fs": sent.rate_hz, "nperseg": 16_384}
    hz, cross = csd(noise, heard, **shape)
    ratio = np.abs(cross) / welch(noise, **shape)[1]
    inside = (hz > 250) & (hz < 5000)
    assert coherence(noise, heard, **shape)[1][inside].min() > 0.9998
    grid = result.frequency_hz
    band = (grid > 250) & (grid < 5000)
    by_noise = np.interp(grid[band], hz, 20 * np.log10(ratio))
    by_sweep = 20 * np.log10(np.abs(result.ratio[band]))
    assert np.abs(by_noise - by_sweep).max() < 0.03
