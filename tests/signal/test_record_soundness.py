"""Records that no figure may come from, and the reasons told."""

from __future__ import annotations

import numpy as np
import pytest

from backbench.errors import Refusal
from backbench.signal.record_checks import check_record, refuse_gap
from backbench.signal.tone_search import find_tone
from backbench.signal.track import Track
from tones import FULL_SCALE, sines, track

RATE = 48_000.0


def good() -> np.ndarray:
    return sines(RATE, 1.0, {1000.0: 5.0})


def damaged(value: float) -> np.ndarray:
    volts = good()
    volts[777] = value
    return volts


@pytest.mark.parametrize(
    ("volts", "bits", "reason"),
    [
        (good()[:9000], 24, "too short: 188 ms"),
        (good(), 8, "8-bit samples"),
        (damaged(np.nan), 24, "not finite"),
        (damaged(np.inf), 24, "not finite"),
        (damaged(-np.inf), None, "not finite"),
        (np.zeros(48_000), 24, "silence"),
        (np.full(48_000, 0.25), 24, "silence"),
        (np.clip(2.5 * good(), -FULL_SCALE, FULL_SCALE), 24, "the converter clipped"),
        (np.clip(2.5 * good(), -FULL_SCALE, FULL_SCALE), None, "the converter clipped"),
        (np.clip(2.5 * good(), -FULL_SCALE, 3.0), 16, "the converter clipped"),
    ],
)
def test_unfit_records_are_refused(volts: np.ndarray, bits: int | None, reason: str) -> None:
    with pytest.raises(Refusal, match=reason):
        check_record(track(volts, bits=bits))


@pytest.mark.parametrize("bits", [16, 24, None])
def test_a_record_below_full_scale_is_fit(bits: int | None) -> None:
    check_record(track(1.99 * good(), bits=bits))


@pytest.mark.parametrize(
    ("volts", "stated", "reason"),
    [
        (sines(RATE, 1.0, {2010.0: 1.0}), 1000.0, "the tone is at 2.01 kHz, not at 1 kHz"),
        (sines(RATE, 1.0, {48_000 / 44.1: 1.0}), 1000.0, "if the sample rate were 44.1 kHz"),
        (sines(RATE, 1.0, {500.0: 1.0}), 1000.0, "if the sample rate were 96 kHz"),
        (np.random.default_rng(1).normal(0, 1, 48_000), 1000.0, "not a tone"),
        (sines(RATE, 1.0, {1000.0: 1.0, 1733.0: 1.0}), 1000.0, "not a tone"),
        (sines(RATE, 0.4, {20.0: 1.0}), 20.0, "too few periods: the record holds 8 of"),
        (sines(RATE, 1.0, {1000.0: 1.0}), 30_000.0, "can't hold a tone of 30 kHz"),
        (np.concatenate([np.zeros(24_000), good()[:24_000]]), 1000.0, "isn't steady"),
    ],
)
def test_another_signal_than_stated_is_refused(
    volts: np.ndarray, stated: float, reason: str
) -> None:
    with pytest.raises(Refusal, match=reason):
        find_tone(track(volts), stated, 50.0)


def test_a_generator_a_little_off_is_taken_as_it_is() -> None:
    lines = find_tone(track(sines(RATE, 1.0, {1009.0: 1.0})), 1000.0, 50.0)
    assert lines.frequency_hz == pytest.approx(1009.0, rel=1e-9)


@pytest.mark.parametrize("bits", [None, 24, 16])
@pytest.mark.parametrize("length", [6, 29, 500])
def test_a_gap_in_noise_is_refused(bits: int | None, length: int) -> None:
    volts = np.random.default_rng(length).normal(0, 0.01, 48_000)
    if bits is not None:
        step = 2.0 ** (1 - bits)
        volts = np.rint(volts / step) * step
    sound = Track(volts.copy(), 48_000.0, 1.0, 0.0, bits)
    refuse_gap(sound)
    volts[20_000 : 20_000 + length] = 0.0
    with pytest.raises(Refusal, match="without change at 417 ms"):
        refuse_gap(Track(volts, 48_000.0, 1.0, 0.0, bits))


@pytest.mark.parametrize("noise_steps", [0.05, 0.3, 1.0, 5.0])
@pytest.mark.parametrize("hum_steps", [0.0, 30.0, 3000.0])
def test_noise_that_seldom_leaves_a_step_is_no_gap(noise_steps: float, hum_steps: float) -> None:
    time = np.arange(96_000) / 48_000
    noise = np.random.default_rng(3).normal(0, noise_steps, 96_000)
    steps = np.rint(noise + hum_steps * np.sin(2 * np.pi * 50 * time))
    refuse_gap(Track(steps * 2.0**-15, 48_000.0, 1.0, 0.0, 16))


@pytest.mark.parametrize(("over", "clips"), [(1.02, True), (0.999, False)])
def test_a_few_lone_samples_at_full_scale_are_clipped(over: float, clips: bool) -> None:
    """Two tones whose crests seldom coincide, and a line that changes from sample to sample."""
    t = np.arange(24_000) / 48_000
    wave = np.cos(2 * np.pi * 17_003 * t) + np.cos(2 * np.pi * 5003 * t + 1) + np.cos(2e5 * t)
    volts = np.clip(over * wave / np.sort(np.abs(wave))[-6], -1, 1) * FULL_SCALE
    full = np.count_nonzero(np.abs(volts) >= FULL_SCALE * (1 - 1e-9))
    assert (full >= 5) == clips
    record = Track(volts, 48_000.0, FULL_SCALE, 0.0, None)
    if clips:
        with pytest.raises(Refusal, match="the converter clipped"):
            check_record(record)
    else:
        check_record(record)
