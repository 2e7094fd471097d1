"""Residual noise, its A weighting and mains lines of idle captures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.signal.weighting import a_weighting
from tones import figures, idle_material, reasons, sines, track

RATE = 96_000.0


def white(density: float, seconds: float = 2.0, seed: int = 1) -> np.ndarray:
    """White noise of so many V per root Hz."""
    scale = density * math.sqrt(RATE / 2)
    return np.random.default_rng(seed).normal(0, scale, int(seconds * RATE))


def test_white_noise_flat_and_weighted() -> None:
    """A weighting takes 2.048 dB from white noise of 20 Hz to 20 kHz (computed)."""
    result = figures(idle_material(track(white(1e-7), RATE)))
    assert result["noise"].value == pytest.approx(1e-7 * math.sqrt(19_980), rel=0.02)
    ratio = 20 * math.log10(result["noise_a"].value / result["noise"].value)
    assert ratio == pytest.approx(-2.048, abs=0.1)
    assert result["noise"].bound is None


@pytest.mark.parametrize("hz", [31.5, 100.0, 1000.0, 2500.0, 12_500.0])
def test_one_line_is_weighted_by_the_curve(hz: float) -> None:
    result = figures(idle_material(track(sines(RATE, 1.0, {hz: 1e-3}), RATE)))
    assert result["noise"].value == pytest.approx(1e-3 / math.sqrt(2), rel=1e-6)
    factor = a_weighting(np.array([hz]))[0]
    assert result["noise_a"].value == pytest.approx(factor * 1e-3 / math.sqrt(2), rel=1e-3)


def test_what_lies_outside_the_band_does_not_count() -> None:
    outside = sines(RATE, 2.0, {5.0: 1.0, 25_000.0: 1.0}) + 0.5
    result = figures(idle_material(track(outside + white(1e-8), RATE)))
    assert result["noise"].value == pytest.approx(1e-8 * math.sqrt(19_980), rel=0.03)


@pytest.mark.parametrize("mains", [49.83, 50.0, 50.21])
def test_mains_lines_are_followed(mains: float) -> None:
    peaks = {mains: 1e-3, 2 * mains: 5e-4, 6 * mains: 1e-5}
    result = figures(idle_material(track(sines(RATE, 2.0, peaks) + white(1e-8), RATE)))
    for multiple, peak in ((1, 1e-3), (2, 5e-4), (6, 1e-5)):
        line = result[f"mains_line {multiple}"]
        assert line.frequency_hz == pytest.approx(multiple * mains, abs=2e-3 * multiple)
        assert line.value == pytest.approx(peak / math.sqrt(2), rel=5e-3)
        assert line.bound is None
    assert result["mains_line 3"].bound == "upper"
    # It holds for either mains at every usual rate, as nothing shows which it was.
    assert result["mains_line 3"].value < 1.2e-7


def test_a_line_that_drifts_is_read_whole() -> None:
    """The mains wanders by 0.02 Hz within 20 s."""
    t = np.arange(int(20 * RATE / 2)) / (RATE / 2)
    turns = 2 * np.pi * (50.05 * t + 0.02 / 20 * t**2 / 2)
    volts = 1e-3 * np.cos(turns) + 1e-4 * np.cos(10 * turns)
    volts += np.random.default_rng(3).normal(0, 1e-6, len(t))
    result = figures(idle_material(track(volts, RATE / 2)))
    assert result["mains_line 1"].value == pytest.approx(1e-3 / math.sqrt(2), rel=2e-3)
    assert result["mains_line 10"].value == pytest.approx(1e-4 / math.sqrt(2), rel=2e-3)


def test_sixty_hertz_mains() -> None:
    volts = sines(RATE, 1.0, {60.0: 1e-3, 120.0: 1e-3}) + white(1e-8, 1.0)
    result = figures(idle_material(track(volts, RATE), mains_hz=60.0))
    assert result["mains_line 2"].value == pytest.approx(1e-3 / math.sqrt(2), rel=1e-3)


def test_uncertainty_comes_from_calibration_and_record() -> None:
    volts = white(1e-7)
    sure = figures(idle_material(track(volts, RATE)))["noise"]
    unsure = figures(idle_material(track(volts, RATE, calibration=0.005)))["noise"]
    # 1 / (2 sqrt(B T)) of the rms, raised by the window's 3.67.
    expected = math.sqrt(3.67 / (19_980 * 2.0)) / 2
    assert sure.uncertainty / sure.value == pytest.approx(expected, rel=0.1)
    assert unsure.estimation == sure.estimation
    assert unsure.uncertainty == pytest.approx(
        math.hypot(0.005 * sure.value, sure.uncertainty), rel=1e-6
    )


def test_the_word_length_makes_a_bound() -> None:
    """16 bits of 10 V: a step is 0.305 mV, and with dither half of it is noise."""
    step = 20 / 2**16
    rng = np.random.default_rng(1)
    dither = rng.uniform(-0.5, 0.5, 96_000) + rng.uniform(-0.5, 0.5, 96_000)
    quiet = np.rint(white(1e-8, 1.0) / step + dither) * step
    assert figures(idle_material(track(quiet, RATE, bits=16)))["noise"].bound == "upper"
    loud = np.rint(white(1e-5, 1.0) / step + dither) * step
    assert figures(idle_material(track(loud, RATE, bits=16)))["noise"].bound is None


@pytest.mark.parametrize(
    ("volts", "kept", "metric", "reason"),
    [
        (np.zeros(96_000), {}, "noise", "silence"),
        (white(1e-7, 0.2), {}, "noise", "too short"),
        (white(1e-7, 0.3), {}, "mains_line", "too short to tell mains lines apart"),
        (white(1e-7), {"mains_hz": None}, "mains_line", "mains frequency was not stated"),
        (np.where(white(1e-7) > 0, 10.0, 0.0), {}, "noise", "the converter clipped"),
    ],
)
def test_no_figure_where_none_is_honest(
    volts: np.ndarray, kept: dict[str, object], metric: str, reason: str
) -> None:
    assert reason in reasons(idle_material(track(volts, RATE), **kept))[metric][1]


def test_a_rate_below_the_band_is_refused() -> None:
    slow = track(np.random.default_rng(1).normal(0, 1, 32_000), 32_000.0)
    assert "32 kHz" in reasons(idle_material(slow))["noise"][1]


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 999), factor=st.floats(1e-3, 1e3))
def test_scaling_the_input_scales_every_figure(seed: int, factor: float) -> None:
    volts = white(1e-7, 0.5, seed) + sines(RATE, 0.5, {50.1: 1e-4})
    one, other = (figures(idle_material(track(k * volts, RATE))) for k in (1.0, factor))
    for name, figure in one.items():
        scale = 1.0 if name == "hum_over_hiss" else factor
        assert other[name].value == pytest.approx(scale * figure.value)
        # Blocks of time are transformed in single precision.
        assert other[name].uncertainty == pytest.approx(scale * figure.uncertainty, rel=1e-5)
        assert other[name].bound == figure.bound


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 999))
def test_powers_of_independent_noises_add(seed: int) -> None:
    one, other = white(1e-7, 1.0, seed), white(2e-7, 1.0, seed + 1000)
    values = [figures(idle_material(track(v, RATE)))["noise"] for v in (one, other, one + other)]
    expected = math.hypot(values[0].value, values[1].value)
    assert values[2].value == pytest.approx(expected, rel=0.03)


MUSIC = {110.0: 0.1, 277.2: 0.1, 523.3: 0.1, 1760.0: 0.05}


def test_tones_recorded_as_idle_are_refused() -> None:
    chord = idle_material(track(sines(RATE, 2.0, MUSIC) + white(1e-7), RATE))
    assert "not idle: tones that aren't the mains'" in reasons(chord)["noise"][1]


def test_a_weak_tone_recorded_as_idle_is_warned_of() -> None:
    """10 mV of tones over 0.1 uV of noise: hardly a unit's own. Hum of as much warns of nothing."""
    weak = sines(RATE, 2.0, {hz: 0.05 * peak for hz, peak in MUSIC.items()}) + white(1e-7)
    remark = figures(idle_material(track(weak, RATE)))["noise"].remark or ""
    assert "lines that aren't the mains' make up nearly all of" in remark
    hum = sines(RATE, 2.0, {50.0 * n: 0.01 / n for n in range(1, 8)}) + white(1e-7)
    assert "lines that" not in (figures(idle_material(track(hum, RATE)))["noise"].remark or "")


def test_noise_as_loud_as_a_generator_s_is_refused_and_some_of_it_warned_of() -> None:
    """White noise of 0.8 V and of 0.08 V rms from 20 Hz to 20 kHz."""
    density = 0.8 / math.sqrt(19_980)
    refused = reasons(idle_material(track(white(density), RATE)))
    assert "beside the hum is as loud" in refused["hiss"][1]
    result = figures(idle_material(track(white(density / 10), RATE)))
    for name in ("noise", "noise_a", "hiss"):
        assert "mV beside the hum is much" in (result[name].remark or ""), name


@pytest.mark.parametrize("mains", [50.1, 59.9])
def test_strong_hum_and_buzz_are_no_sound_that_was_played(mains: float) -> None:
    """1 V of ripple with buzz up to 4 kHz, whatever mains was stated, and hiss of 10 mV."""
    buzz = {2 * n * mains: 1.0 / n for n in range(1, 35)}
    given = idle_material(track(sines(RATE, 2.0, buzz) + white(7e-5), RATE), mains_hz=mains)
    result = figures(given)
    assert result["noise"].value > 0.5
    assert "warning" not in (result["noise"].remark or "")


PITCHES, GLIDE = "pitches that come and go", "as a sweep does"


def unsteady(kind: str, rms: float) -> np.ndarray:
    """2 s of a sound at 48 kHz, with hiss of 0.2 mV and hum of 0.7 mV beside it."""
    rng, rate = np.random.default_rng(11), 48_000
    t = np.arange(2 * rate) / rate
    noise = rng.normal(size=len(t))
    if kind == "music":
        notes = 110 * 2 ** (rng.integers(0, 60, 6) / 12)
        beats = [np.exp(-10 * ((t + rng.uniform(0, 0.4)) % 0.4)) for _ in notes]
        wave = sum(beat * np.sin(2 * np.pi * hz * t) for hz, beat in zip(notes, beats, strict=True))
    elif kind == "sweep":
        k = math.log(1000) / t[-1]
        wave = np.sin(2 * np.pi * 20 / k * np.expm1(k * t))
    elif kind == "crackle":
        wave = np.zeros(len(t))
        wave[rng.integers(0, len(t), 60)] = rng.normal(size=60)
    elif kind == "popcorn":
        wave = np.where(np.cumsum(rng.random(len(t)) < 40 / rate) % 2 == 0, 1.0, -1.0)
    elif kind == "burst":
        wave = noise * ((t > 0.7) & (t < 1.2))
    else:
        buzz = sum(np.cos(2 * np.pi * 100 * n * t + n) / n for n in range(1, 40))
        wave = (1 + 0.5 * t) * buzz
    hiss, hum = 2e-4 * rng.normal(size=len(t)), 1e-3 * np.cos(2 * np.pi * 100 * t)
    return wave * rms / math.sqrt(float(np.mean(np.square(wave)))) + hiss + hum


@pytest.mark.parametrize("rms", [3e-2, 3e-3])
@pytest.mark.parametrize(("kind", "text"), [("music", PITCHES), ("sweep", GLIDE)])
def test_quiet_sounds_recorded_as_idle_are_warned_of(kind: str, text: str, rms: float) -> None:
    remark = figures(idle_material(track(unsteady(kind, rms))))["noise"].remark or ""
    assert "warning: " in remark
    assert text in remark
    assert "check that the generator was off" in remark


@pytest.mark.parametrize("kind", ["crackle", "popcorn", "burst", "buzz that grows"])
def test_noise_of_a_unit_that_comes_and_goes_is_no_sound_that_was_played(kind: str) -> None:
    remark = figures(idle_material(track(unsteady(kind, 5e-3))))["noise"].remark or ""
    assert "isn't steady" in remark
    assert PITCHES not in remark
    assert GLIDE not in remark


@pytest.mark.parametrize("seconds", [0.6, 1.5])
def test_bounds_of_noise_that_comes_and_goes_hold_where_it_is_loudest(seconds: float) -> None:
    """Too short for segments, and long enough: no line is known to be away when it is quiet."""
    loud = white(1e-6, seconds)
    t = np.arange(len(loud)) / RATE
    quiet = loud * np.where((t > 0.4 * seconds) & (t < 0.6 * seconds), 1.0, 0.1)
    whole, parts = (figures(idle_material(track(volts, RATE))) for volts in (loud, quiet))
    assert "the noise isn't steady" in (parts["mains_line 2"].remark or "")
    for order in (2, 4):
        line = f"mains_line {order}"
        assert parts[line].bound == whole[line].bound == "upper"
        assert parts[line].value > 0.8 * whole[line].value
