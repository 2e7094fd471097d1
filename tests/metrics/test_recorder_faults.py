"""What a recorder, a coder or the handling of a file does to a record is told, not measured."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import fftconvolve, firwin

from backbench.signal.track import Track
from many_tones import multitone_material
from tones import figures, idle_material, reasons, tone_material

RATE, SECONDS, TOP = 96_000.0, 0.6, 10.0
T = np.arange(round(RATE * SECONDS)) / RATE


def recorded(volts: np.ndarray, bits: int = 24, seed: int = 3) -> Track:
    """Behind a converter with noise of 30 uV, dithered to the word length."""
    rng = np.random.default_rng(seed)
    step = 2 * TOP / 2.0**bits
    return Track(dithered(volts + rng.normal(0, 3e-5, len(volts)), step), RATE, TOP, 0.0, bits)


def dithered(volts: np.ndarray, step: float) -> np.ndarray:
    shaken = np.random.default_rng(8).random((2, len(volts))).sum(axis=0) - 1
    return np.asarray(np.rint(volts / step + shaken) * step)


def tone(peak: float = 3.0) -> np.ndarray:
    return peak * np.cos(2 * np.pi * 997.0 * T)


@pytest.mark.parametrize("depth", [1e-3, 0.02, 0.3])
def test_a_record_cut_off_behind_its_noise_is_refused(depth: float) -> None:
    top = 3.0 * (1 - depth)
    behind = np.clip(recorded(tone()).volts, -top, top)
    track = Track(dithered(behind, 2 * TOP / 2**24), RATE, TOP, 0.0, 24)
    assert "is cut off at" in reasons(tone_material(track, hz=997.0))["thd"][1]


@pytest.mark.parametrize("depth", [1e-3, 0.02, 0.3])
def test_a_unit_that_clips_before_the_converter_is_measured(depth: float) -> None:
    top = 3.0 * (1 - depth)
    found = figures(tone_material(recorded(np.clip(tone(), -top, top)), hz=997.0))
    assert found["thd"].value > 1e-3


@pytest.mark.parametrize("hz", [1000.0, 2000.0])
def test_a_tone_without_noise_that_repeats_its_samples_is_not_cut_off(hz: float) -> None:
    """A whole number of samples a period: each value recurs, the greatest no oftener."""
    volts = 3.0 * np.sin(2 * np.pi * hz * T) * (T > 0.2)
    told = reasons(tone_material(Track(volts, RATE, TOP, 0.0), hz=hz))
    assert not any("is cut off" in text for _, text in told.values())


def short_of(edge_hz: float, volts: np.ndarray) -> Track:
    taps = firwin(501, edge_hz, fs=RATE, window=("kaiser", 9.0))
    cut = fftconvolve(recorded(volts).volts, taps, mode="same")
    return Track(dithered(cut, 2 * TOP / 2**24), RATE, TOP, 0.0, 24)


@pytest.mark.parametrize("edge_hz", [15e3, 20.6e3])
def test_a_record_with_nothing_above_an_edge_is_refused(edge_hz: float) -> None:
    for material, metric in (
        (tone_material(short_of(edge_hz, tone()), hz=997.0), "thd"),
        (idle_material(short_of(edge_hz, np.zeros(len(T)))), "noise"),
    ):
        text = reasons(material)[metric][1]
        told = float(text.split("above about ")[1].split(" kHz")[0]) * 1e3
        assert told == pytest.approx(edge_hz, abs=1200.0)


def test_a_unit_with_a_low_pass_of_its_own_is_measured() -> None:
    loud = np.random.default_rng(1).normal(0, 1e-3, len(T))
    taps = firwin(501, 20.6e3, fs=RATE, window=("kaiser", 9.0))
    unit = fftconvolve(loud, taps, mode="same")
    assert figures(idle_material(recorded(unit)))["noise"].value == pytest.approx(6.45e-4, rel=0.03)
    assert "thd" in figures(tone_material(recorded(tone() + unit), hz=997.0))


@pytest.mark.parametrize("times", [0.1, 10.0])
def test_idle_noise_that_changes_for_good_is_refused(times: float) -> None:
    volts = np.random.default_rng(2).normal(0, 1e-3, len(T)) * np.where(T > 0.4, times, 1.0)
    assert "stays so" in reasons(idle_material(recorded(volts)))["noise"][1]
    burst = np.random.default_rng(2).normal(0, 1e-3, len(T)) * np.where(abs(T - 0.3) < 0.1, 10, 1)
    assert "noise" in figures(idle_material(recorded(burst)))


def test_a_steady_part_that_jumps_is_named_beside_the_tone() -> None:
    """Closed form: a step of V leaves V^2 / (2 pi^2 20 Hz T) above 20 Hz, times the window's."""
    still = figures(tone_material(recorded(tone()), hz=997.0))["snr"]
    jumps = figures(tone_material(recorded(tone() + np.where(T > 0.3, 0.05, 0.0)), hz=997.0))["snr"]
    assert still.remark is None
    assert "the steady part jumps by" in (jumps.remark or "")
    left = 4.5 / 10 ** (jumps.value / 10)
    assert left < 5 * 0.05**2 / (2 * np.pi**2 * 20 * SECONDS)


def in_steps(peak: float, top: float, bits: int) -> Track:
    """A tone of low noise that is cut off before it is rounded, and by what none of it tells."""
    step = 2 * TOP / 2.0**bits
    noise = np.random.default_rng(5).normal(0, 3e-5, len(T))
    volts = np.clip(peak * np.cos(2 * np.pi * 997.0 * T) + noise, -top, top)
    return Track(dithered(volts, step), RATE, TOP, 0.0, bits)


@pytest.mark.parametrize(("top", "named"), [(2.9, True), (2.99, True), (9.0, False)])
def test_crests_flat_to_the_steps_are_named(top: float, named: bool) -> None:
    found = figures(tone_material(in_steps(3.0, top, 16), hz=997.0))["thd"]
    assert ("the crests are flat" in (found.remark or "")) == named


@pytest.mark.parametrize(("top", "named"), [(0.24, True), (9.0, False)])
def test_flat_crests_of_many_tones_are_named(top: float, named: bool) -> None:
    """They are seldom so high: elsewhere each voltage recurs more often than the cut-off one."""
    hz = [109.0, 218.0, 327.0, 545.0, 981.0, 1853.0, 3161.0, 5559.0, 9701.0, 17_004.0]
    volts = sum(0.05 * np.cos(2 * np.pi * f * T + n * n) for n, f in enumerate(hz))
    step = 2 * TOP / 2.0**16
    track = Track(dithered(np.clip(volts, -top, top), step), RATE, TOP, 0.0, 16)
    found = figures(multitone_material(track, hz=hz))["tones_level"]
    assert ("the crests are flat" in (found.remark or "")) == named


def test_a_line_within_a_bin_of_one_of_many_tones_is_in_their_level() -> None:
    """A transmitter's 217 Hz beside 218 Hz, 0.1 % of it, in 0.6 s."""
    hz = [109.0, 218.0, 545.0, 1308.0, 3161.0]
    clean = sum(0.2 * np.cos(2 * np.pi * f * T + n) for n, f in enumerate(hz))
    quiet, found = (
        figures(multitone_material(recorded(clean + near, 24), hz=hz))["tones_level"]
        for near in (0.0, 2e-4 * np.cos(2 * np.pi * 217.0 * T))
    )
    truth = 0.2 * np.sqrt(len(hz) / 2)
    assert abs(quiet.value - truth) < 3 * quiet.uncertainty
    assert abs(found.value - truth) < 3 * found.uncertainty
    assert found.uncertainty > 3 * quiet.uncertainty


def test_a_unit_that_clips_under_its_own_noise_has_no_flat_crests() -> None:
    found = figures(tone_material(recorded(np.clip(tone(), -2.9, 2.9)), hz=997.0))["thd"]
    assert "the crests are flat" not in (found.remark or "")
