"""Records that no figure may come from, and the reasons told."""

from __future__ import annotations

import numpy as np
import pytest

from backbench.errors import Refusal
from backbench.signal.record_checks import check_record
from backbench.signal.tone_search import find_tone
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
