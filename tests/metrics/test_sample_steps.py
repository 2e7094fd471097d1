"""Samples of a short word in a long one: what of a figure is the steps' own."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Idle, Stimulus, Tone
from backbench.metrics.declaration import CaptureData, MeasuredValue
from backbench.metrics.findings import Finding
from backbench.metrics.measurement import measure
from backbench.signal.track import Array, Track
from backbench.signal.word_length import sample_step, word_bits

RATE, FULL_SCALE = 48_000, 3.0
STEP_16 = 2 * FULL_SCALE / 2**16
TIME = np.arange(RATE) / RATE


def stored(volts: Array, *, used: int, dither: bool, seed: int = 1) -> Array:
    """Rounded to a word length, with triangular dither or none."""
    rng, step = np.random.default_rng(seed), 2 * FULL_SCALE / 2**used
    shaken = rng.random((2, len(volts))).sum(axis=0) - 1 if dither else 0.0
    return step * np.rint(volts / step + shaken)


def tracked(volts: Array, bits: int | None = 24) -> Track:
    return Track(volts, RATE, FULL_SCALE, 0.0, bits)


def findings(volts: Array, stimulus: Stimulus, bits: int | None = 24) -> dict[str, Finding]:
    capture = CaptureData(stimulus, Conditions(), {1: tracked(volts, bits)}, mains_hz=50.0)
    return {f.metric.name: f for f in measure(capture)[0] if f.figure is None or not f.figure.order}


def idle(volts: Array) -> dict[str, Finding]:
    return findings(volts, Idle(idle="input shorted"))


def tone(volts: Array, hz: float) -> dict[str, Finding]:
    return findings(volts, Tone(tone_hz=hz, generator_vrms="unknown"))


@pytest.mark.parametrize("bits", [24, None])
@pytest.mark.parametrize("used", [12, 16, 20])
@pytest.mark.parametrize("gain", [1.0, 0.7])
def test_word_length_is_what_the_samples_use(bits: int | None, used: int, gain: float) -> None:
    volts = gain * stored(1.5 * np.sin(2 * np.pi * 997 * TIME), used=used, dither=True)
    if gain != 1 and bits:
        volts = stored(volts, used=bits, dither=False)
    assert word_bits(tracked(volts, bits)) == pytest.approx(used - math.log2(gain), abs=0.01)


def test_records_that_use_all_of_their_words_keep_their_word_length() -> None:
    rng = np.random.default_rng(2)
    volts = 1.5 * np.sin(2 * np.pi * 997 * TIME) + 1e-4 * rng.normal(size=RATE)
    assert word_bits(tracked(stored(volts, used=24, dither=False))) == 24
    assert sample_step(tracked(volts, None)) == 0.0
    assert sample_step(tracked(volts.astype(np.float32).astype(float), None)) == 0.0


def test_an_offset_and_a_silent_beginning_hide_no_step() -> None:
    volts = stored(1e-3 * np.random.default_rng(3).normal(size=RATE), used=16, dither=False)
    volts[: RATE // 2] = volts[0]
    assert sample_step(tracked(volts + 3 * STEP_16 / 256)) == pytest.approx(STEP_16)


def test_samples_that_use_14_bits_of_24_are_refused() -> None:
    volts = stored(1.5 * np.sin(2 * np.pi * 997 * TIME), used=14, dither=True)
    reason = tone(volts, 997.0)["thd"].reason or ""
    assert "14 bits" in reason


@pytest.mark.parametrize("noise_steps", [0.05, 0.1, 0.2, 0.3])
@pytest.mark.parametrize("offset", [0.0, 0.3, 0.5])
def test_noise_below_the_steps_lies_under_its_bound(noise_steps: float, offset: float) -> None:
    true = noise_steps * STEP_16
    volts = true * np.random.default_rng(4).normal(size=RATE) + offset * STEP_16
    shown = stored(volts, used=16, dither=False)
    result = idle(shown)
    if np.ptp(shown) == 0:
        assert result["noise"].status == "rejected"
        return
    in_band = true * math.sqrt(20_000 / 24_000)
    for name in ("noise", "noise_a", "noise_ccir_rms", "noise_arm", "noise_468"):
        figure = result[name].figure
        assert figure is not None
        assert figure.bound == "upper", name
    figure = result["noise"].figure
    assert figure is not None
    assert in_band <= figure.value <= 1.2 * STEP_16
    assert result["hum_over_hiss"].status != "measured"


def test_hum_below_half_a_step_lies_under_its_bound() -> None:
    hum = 0.45 * STEP_16 * np.sin(2 * np.pi * 50 * TIME)
    volts = hum + 0.05 * STEP_16 * np.random.default_rng(5).normal(size=RATE)
    shown = stored(volts, used=16, dither=False)
    shown[1000] += STEP_16
    figure = idle(shown)["hum"].figure
    assert figure is not None
    assert figure.bound == "upper"
    assert figure.value >= 0.45 * STEP_16 / math.sqrt(2)


@pytest.mark.parametrize("noise_steps", [0.6, 1.0, 2.0, 10.0])
@pytest.mark.parametrize("dither", [True, False])
def test_the_noise_of_blurred_steps_is_taken_off(noise_steps: float, dither: bool) -> None:
    true = noise_steps * STEP_16
    misses = []
    for seed in range(8):
        volts = true * np.random.default_rng(100 + seed).normal(size=RATE)
        figure = idle(stored(volts, used=16, dither=dither, seed=seed))["noise"].figure
        assert figure is not None
        in_band = true * math.sqrt(20_000 / 24_000)
        if figure.bound == "upper":
            assert figure.value >= in_band
        else:
            misses.append(abs(figure.value - in_band) / figure.uncertainty)
    assert len(misses) >= 4 or noise_steps < 2
    assert sum(miss > 2 for miss in misses) <= 1


@pytest.mark.parametrize("hz", [1000.0, 997.0])
def test_an_undithered_tone_has_bounds_for_what_the_steps_may_be(hz: float) -> None:
    """At 1 kHz and 48 kHz the whole of the rounding error falls on harmonics."""
    volts = 1.5 * np.sin(2 * np.pi * hz * TIME) + 1.5e-6 * np.sin(4 * np.pi * hz * TIME)
    result = tone(stored(volts, used=16, dither=False), hz)
    thd, snr = result["thd"].figure, result["snr"].figure
    assert thd is not None
    assert snr is not None
    assert thd.bound == "upper"
    assert thd.value >= 1e-4
    assert "dither" in (thd.remark or "")
    assert snr.bound == "lower"
    assert 85 < snr.value < 98.1


def test_a_strong_harmonic_of_an_undithered_tone_is_measured() -> None:
    volts = 1.5 * np.sin(2 * np.pi * 1000 * TIME) + 0.015 * np.sin(4 * np.pi * 1000 * TIME)
    figure = tone(stored(volts, used=16, dither=False), 1000.0)["thd"].figure
    assert figure is not None
    assert figure.bound is None
    assert abs(figure.value - 1.0) <= 2 * figure.uncertainty


def test_a_dithered_tone_stays_measured() -> None:
    volts = 1.5 * np.sin(2 * np.pi * 997 * TIME) + 1.5e-4 * np.sin(4 * np.pi * 997 * TIME)
    result = tone(stored(volts, used=16, dither=True), 997.0)
    figure = result["thd"].figure
    assert figure is not None
    assert figure.bound is None
    assert abs(figure.value - 0.01) <= 2.5 * figure.uncertainty
    snr = result["snr"].figure
    assert snr is not None
    assert snr.bound == "lower"
    assert "steps" in (snr.remark or "")


@pytest.mark.parametrize("noise_steps", [1.0, 3.0])
def test_the_snr_of_a_dithered_tone_is_the_units_own(noise_steps: float) -> None:
    rng = np.random.default_rng(7)
    noise = noise_steps * STEP_16
    volts = 1.5 * np.sin(2 * np.pi * 997 * TIME) + noise * rng.normal(size=RATE)
    figure = tone(stored(volts, used=16, dither=True), 997.0)["snr"].figure
    assert figure is not None
    true = 20 * math.log10(1.5 / math.sqrt(2) / noise / math.sqrt(20_000 / 24_000))
    assert abs(figure.value - true) <= 2.5 * figure.uncertainty


def test_harmonics_that_undithered_steps_hide_make_a_bound_of_the_snr() -> None:
    """A crossover's odd harmonics, 0.5 % over their number each, in steps of 0.085 %."""
    wave = np.cos(2 * np.pi * 63.7 * TIME)
    bent = wave - 4e-3 * np.sign(wave)
    coarse = 8.5e-4 * np.round(bent / 8.5e-4)
    given = CaptureData(
        Tone(tone_hz=63.7, generator_vrms="unknown"), Conditions(),
        {1: Track(coarse, RATE, 28.0, 0.0, 16)}, mains_hz=None,
    )  # fmt: skip
    found = {f.metric.name: f for f in measure(given)[0]}["snr"].figure
    assert found is not None
    assert found.bound == "lower"
    assert "without dither hide harmonics" in (found.remark or "")


def test_a_mains_line_that_steps_may_have_swallowed_is_a_bound() -> None:
    """Noise of 0.28 steps before the rounding: a line far below a step loses up to 44 %."""
    rng = np.random.default_rng(4)
    for offset in (0.0, 0.1, 0.2):
        weak = 0.05 * STEP_16 * np.sqrt(2) * np.cos(2 * np.pi * 400 * TIME)
        volts = weak + (offset + 0.28 * rng.normal(size=RATE)) * STEP_16
        lines = findings_of_lines(STEP_16 * np.rint(volts / STEP_16))
        assert lines[8].bound == "upper"
        assert lines[8].value > 0.05 * STEP_16


def findings_of_lines(volts: Array) -> dict[int, MeasuredValue]:
    """Figures of the mains lines by multiple."""
    capture = CaptureData(Idle(idle="shorted"), Conditions(), {1: tracked(volts)}, mains_hz=50.0)
    given = (f.figure for f in measure(capture)[0] if f.metric.name == "mains_line" and f.figure)
    return {figure.order or 0: figure for figure in given}
