"""The spectrum of a record with nothing playing against transforms of the windowed record."""

from __future__ import annotations

import numpy as np
import pytest

from backbench.signal.quiet_spectrum import quiet_spectrum
from backbench.signal.recorded_band import SIDE_LOBES
from backbench.signal.spectrum import spectrum
from backbench.signal.track import Track

RECORDS = [(44_100.0, 11_025), (48_000.0, 16_001), (96_000.0, 30_375), (192_000.0, 60_000)]
"""Sample rate, Hz, and length; of even and odd numbers of samples."""


def record(rate_hz: float, count: int) -> Track:
    t = np.arange(count) / rate_hz
    hum = 0.3 + np.cos(2 * np.pi * 50.3 * t) + 0.1 * np.cos(2 * np.pi * 19_000.7 * t)
    return Track(hum + np.random.default_rng(1).normal(0, 1e-5, count), rate_hz, 10.0, 0.0)


@pytest.mark.parametrize(("rate_hz", "count"), RECORDS)
def test_the_band_is_that_of_the_windowed_record(rate_hz: float, count: int) -> None:
    track = record(rate_hz, count)
    ours, wanted = quiet_spectrum(track), spectrum(track)
    assert ours.bins.shape == wanted.bins.shape
    band = slice(0, wanted.slice_of(0.0, 20_000.0).stop + wanted.window.half_width)
    assert np.abs(ours.bins[band] - wanted.bins[band]).max() < 1e-14 * np.abs(wanted.bins).max()


@pytest.mark.parametrize(("rate_hz", "count"), RECORDS)
def test_above_the_band_it_is_that_of_the_record_under_a_hann_window(
    rate_hz: float, count: int
) -> None:
    """numpy's own transform; noise alike in power, up to half the sample rate."""
    track = record(rate_hz, count)
    ours = quiet_spectrum(track)
    n = ours.length
    hann = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(n) / n)
    power = 2 * np.abs(np.fft.rfft(track.volts[:n] * hann)) ** 2 / (n * np.sum(hann**2))
    above = slice(ours.slice_of(0.0, 20_000.0).stop + ours.window.half_width, None)
    assert ours.power[above] == pytest.approx(power[above], rel=1e-6, abs=1e-24)


@pytest.mark.parametrize("off", [0.0, 0.3, 0.5])
def test_a_line_sums_to_its_mean_square_on_both_sides_of_the_end_of_the_band(off: float) -> None:
    """Closed form: half the squared peak."""
    count, rate_hz = 48_000, 96_000.0
    t = np.arange(count) / rate_hz
    for place in (9_900 + off, 10_100 + off):
        volts = 0.02 * np.cos(2 * np.pi * place * rate_hz / count * t + 1.0)
        power = quiet_spectrum(Track(volts, rate_hz, 1.0, 0.0)).power
        lobe = power[round(place) - 7 : round(place) + 8]
        assert float(lobe.sum()) == pytest.approx(0.02**2 / 2, rel=2e-4)


@pytest.mark.parametrize("seconds", [0.25, 1.0])
def test_a_line_leaves_less_of_itself_than_an_edge_of_the_band_must_have(seconds: float) -> None:
    """Side lobes from 10 kHz on, where such an edge is looked for; worst of places between bins."""
    t = np.arange(round(96_000 * seconds)) / 96_000
    for hz in (31.3, 33.5, 100.7):
        volts = np.cos(2 * np.pi * hz * t + 0.5)
        power = quiet_spectrum(Track(volts, 96_000.0, 1.0, 0.0)).power
        above = power[round(10_000 * seconds) :]
        assert float(above.max()) < SIDE_LOBES * float(power.max())
