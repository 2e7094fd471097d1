"""Residuals of other definitions, sums of harmonics, sidebands and mirrored harmonics of a tone."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import iirnotch, lfilter

from backbench.signal.band_sums import notch_power
from tones import figures, reasons, sines, tone_material, track

RATE = 192_000.0


def noisy(peaks: dict[float, float], rms: float = 1e-5, rate: float = RATE) -> np.ndarray:
    volts = sines(rate, 1.0, peaks)
    return volts + np.random.default_rng(1).normal(0, rms, len(volts))


def test_the_residual_to_80_khz_holds_what_lies_above_20_khz() -> None:
    result = figures(tone_material(track(noisy({1000.0: 1.0, 3000.0: 1e-3, 60_000.0: 2e-3}), RATE)))
    assert result["thd_n"].value == pytest.approx(0.1, rel=1e-2)
    assert result["thd_n_wide"].value == pytest.approx(100 * math.hypot(1e-3, 2e-3), rel=1e-2)
    assert result["thd_n_wide"].detail == {"band": "20 Hz to 80 kHz"}


def test_the_wide_residual_ends_with_the_record() -> None:
    result = figures(tone_material(track(noisy({1000.0: 1.0}, rate=96_000.0), 96_000.0)))
    assert result["thd_n_wide"].detail == {"band": "20 Hz to 43.5 kHz"}
    message = reasons(tone_material(track(noisy({1000.0: 1.0}, rate=48_000.0))))
    assert message["thd_n_wide"] == (
        "not_applicable", "the record's band ends at 21.8 kHz, hardly beyond that of THD+N",
    )  # fmt: skip


def test_even_and_odd_sums_make_up_the_whole() -> None:
    peaks = {1000.0: 1.0, 2000.0: 3e-3, 3000.0: 1e-3, 4000.0: 4e-3, 5000.0: 2e-3}
    result = figures(tone_material(track(noisy(peaks), RATE)))
    assert result["even_harmonics"].value == pytest.approx(0.5, rel=1e-3)
    assert result["odd_harmonics"].value == pytest.approx(100 * math.hypot(1e-3, 2e-3), rel=1e-3)
    both = math.hypot(result["even_harmonics"].value, result["odd_harmonics"].value)
    assert both == pytest.approx(result["thd"].value, rel=1e-3)
    assert result["dominant_harmonic"].value == 4


def test_no_harmonic_dominates_where_two_are_alike_or_none_is_there() -> None:
    alike = figures(tone_material(track(noisy({1000.0: 1.0, 2000.0: 1e-3}), RATE)))
    assert alike["dominant_harmonic"].value == 2
    two = tone_material(track(noisy({1000.0: 1.0, 2000.0: 1e-3, 3000.0: 1e-3}, 1e-3), RATE))
    assert "can't be told apart" in reasons(two)["dominant_harmonic"][1]
    none = tone_material(track(noisy({1000.0: 1.0}, 1e-3), RATE))
    assert "no harmonic stands out" in reasons(none)["dominant_harmonic"][1]


def test_harmonics_beyond_the_tenth() -> None:
    peaks = {1000.0: 1.0, 3000.0: 1e-2, 11_000.0: 3e-3, 19_000.0: 4e-3, 21_000.0: 1e-2}
    result = figures(tone_material(track(noisy(peaks), RATE)))
    assert result["high_harmonics"].value == pytest.approx(0.5, rel=1e-3)
    high = reasons(tone_material(track(noisy({6000.0: 1.0}), RATE), hz=6000.0))
    assert high["high_harmonics"] == (
        "not_applicable", "no harmonic from the 11th on of 6 kHz lies in 20 Hz to 20 kHz",
    )  # fmt: skip


def test_reasons_name_the_stated_frequency() -> None:
    volts = noisy({20_001.3: 1.0}, rate=48_000.0)
    message = reasons(tone_material(track(volts), hz=20_000.0))
    assert message["thd"][1] == (
        "the second and third harmonics of 20 kHz lie above the record's band, which ends at "
        "21.8 kHz; record at 132.3 kHz or more"
    )
    assert "20 kHz" in message["thd_wide"][1]


def test_the_notch_is_the_filter_that_a_signal_library_makes() -> None:
    """The response of scipy.signal.iirnotch (a digital filter by bilinear transform) at a sample
    rate so high that its warping is below 1e-4; and the half-power width 1 / Q."""
    from scipy.signal import freqz

    rate, hz = 10e6, 1000.0
    frequency = np.array([200.0, 900.0, 1100.0, 2000.0, 5000.0, 20_000.0])
    _, response = freqz(*iirnotch(hz, 2.0, rate), worN=frequency, fs=rate)
    assert notch_power((frequency / hz) ** 2, 2.0) == pytest.approx(np.abs(response) ** 2, rel=1e-4)
    second = 10 * math.log10(float(notch_power(np.array([4.0]), 2.0)[0]))
    assert second == pytest.approx(-0.458, abs=1e-3)


def test_distortion_behind_a_notch_agrees_with_filtered_samples() -> None:
    """scipy.signal.iirnotch on the samples, its start-up left out, the band cut in the spectrum."""
    peaks = {1000.0: 1.0, 2000.0: 5e-3, 3000.0: 3e-3, 7000.0: 1e-3}
    volts = noisy(peaks, 1e-4)
    passed = lfilter(*iirnotch(1000.0, 2.0, RATE), np.concatenate([volts, volts]))[len(volts) :]
    power = np.abs(np.fft.rfft(passed)) ** 2 * 2 / len(passed) ** 2
    inside = power[20:20_001].sum()
    whole = 0.5 * (1 + 5e-3**2 + 3e-3**2 + 1e-3**2)
    result = figures(tone_material(track(volts, RATE)))["thd_n_notch"]
    assert result.value == pytest.approx(100 * math.sqrt(inside / whole), rel=2e-3)


@pytest.mark.parametrize("mains", [49.93, 50.0])
def test_sidebands_of_a_tone_between_mains_multiples(mains: float) -> None:
    """1 % amplitude modulation at twice the mains: each sideband half, the pair 0.707 %."""
    t = np.arange(int(RATE)) / RATE
    tone = np.cos(2 * np.pi * 1025 * t) * (1 + 0.01 * np.cos(2 * np.pi * 2 * mains * t))
    volts = tone + np.random.default_rng(2).normal(0, 1e-5, len(t))
    result = figures(tone_material(track(volts, RATE), hz=1025.0))
    assert result["mains_sideband 2"].value == pytest.approx(
        20 * math.log10(0.01 / 2**0.5), abs=0.02
    )
    assert result["mains_sideband 1"].bound == "upper"
    assert result["mains_sideband 1"].value < -80


def test_a_tone_on_a_mains_multiple_leaves_hum_and_sidebands_ambiguous() -> None:
    hum = {1000.0: 1.0, 950.0: 1e-3, 1050.0: 1e-3}
    message = reasons(tone_material(track(noisy(hum), RATE)))["mains_sideband"]
    assert message[1].startswith("1 kHz is 20 times the mains")
    assert "1.025 kHz" in message[1]
    clean = figures(tone_material(track(noisy({1000.0: 1.0}), RATE)))
    assert clean["mains_sideband 1"].bound == "upper"


def test_a_mirrored_harmonic_is_named_and_refuses_distortion_and_noise() -> None:
    """Harmonic 3 of 20 kHz, 60 kHz, at 96 kHz appears at 36 kHz; of 7001 Hz at 48 kHz, 28 004 at
    19 996 Hz."""
    volts = noisy({7001.0: 1.0, 4 * 7001.0: 1e-3}, rate=48_000.0)
    capture_data = tone_material(track(volts), hz=7000.0)
    alias = figures(capture_data)["mirrored_harmonic"]
    assert alias.value == pytest.approx(-60, abs=0.05)
    assert alias.remark == "harmonic 4 at 28.004 kHz seen at 19.996 kHz"
    message = reasons(capture_data)["thd_n"]
    assert message[0] == "rejected"
    assert message[1].startswith("aliasing: harmonic 4")
    assert "thd" in figures(capture_data)


def test_no_mirrored_harmonic_is_a_bound() -> None:
    result = figures(tone_material(track(noisy({7001.0: 1.0}, rate=48_000.0)), hz=7000.0))
    assert result["mirrored_harmonic"].bound == "upper"
    assert result["mirrored_harmonic"].value < -100
    assert result["thd_n"].bound is None


def test_mirrors_that_fall_on_harmonics_tell_nothing() -> None:
    message = reasons(tone_material(track(noisy({1000.0: 1.0}, rate=48_000.0))))
    assert "mirrored onto each other" in message["mirrored_harmonic"][1]


def test_tracks_that_are_swapped_are_reported_from_the_stated_drive() -> None:
    loud, quiet = track(noisy({1000.0: 1.0}), RATE), track(noisy({1000.0: 1e-3}), RATE)
    names = {1: "left", 2: "right"}
    wrong = tone_material(quiet, loud, driven_track=1, names=names)
    for number in (1, 2):
        status, reason = reasons(wrong, number)["level"]
        assert status == "rejected"
        assert reason.startswith("tracks swapped? right is 60 dB louder at 1 kHz than left")
    assert "level" in figures(tone_material(quiet, loud, driven_track=2, names=names), 1)


@pytest.mark.parametrize(("depth", "named"), [(2e-3, True), (0.0, False)])
def test_a_low_tone_that_wavers_fast_is_named(depth: float, named: bool) -> None:
    """A phase that swings by x rad has sidebands of x / 2 (first Bessel function), here on 9 Hz."""
    rate = 48_000.0
    time = np.arange(int(0.92 * rate)) / rate
    wave = np.sin(2 * np.pi * 22.3 * time + depth * np.sin(2 * np.pi * 9.3 * time))
    volts = wave + np.random.default_rng(1).normal(0, 1e-4, len(time))
    result = figures(tone_material(track(volts, rate), hz=22.3))
    for name in ("thd_n", "snr"):
        assert ("lines stand on both sides" in (result[name].remark or "")) is named, name
