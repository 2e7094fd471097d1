"""Where the steps of its samples are all that a record shows at the end of its band."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import fftconvolve, firwin

from backbench.signal.track import Array, Track
from tones import figures, idle_material, reasons, sines, tone_material

RATE, TOP = 48_000.0, 3.0
STEP = 2 * TOP / 2**16


def coded(volts: Array, edge_hz: float = 16_000.0) -> Array:
    """Without what lies above an edge, as coders with losses leave it."""
    taps = firwin(501, edge_hz, fs=RATE, window=("kaiser", 9.0))
    return np.asarray(fftconvolve(volts, taps, mode="same"))


def stored(volts: Array) -> Track:
    """In 16 bits with triangular dither; the ends, where the filter starts and stops, left off."""
    shaken = np.random.default_rng(1).random((2, len(volts))).sum(axis=0) - 1
    kept = (STEP * np.rint(volts / STEP + shaken))[1000:-1000]
    return Track(kept, RATE, TOP, 0.0, 16)


def noise(rms: float) -> Array:
    return np.random.default_rng(2).normal(0, rms, int(1.2 * RATE))


def tone(hz: float, shares: dict[int, float], rms: float = 1e-7) -> Array:
    return sines(RATE, 1.2, {n * hz: share for n, share in shares.items()}) + noise(rms)


def test_a_third_harmonic_that_a_coder_may_have_cut_off_has_no_bound() -> None:
    """6 kHz with a third harmonic of 1 %, of which the file keeps nothing."""
    capture = tone_material(stored(coded(tone(6003.0, {1: 1.0, 3: 0.01}))), hz=6003.0)
    message = reasons(capture)
    for name in ("thd", "thd_wide", "thd_n", "sinad", "odd_harmonics"):
        assert message[name][0] == "not_applicable"
        assert "nothing shows whether it was cut off there" in message[name][1]
    assert "harmonic 3" not in figures(capture)


def test_the_same_harmonic_in_a_file_that_keeps_it_shows_that_it_does() -> None:
    result = figures(tone_material(stored(tone(6003.0, {1: 1.0, 3: 0.01})), hz=6003.0))
    assert result["thd"].value == pytest.approx(1.0, abs=0.005)
    assert result["thd"].bound is None
    assert result["thd_n"].remark is None


def test_harmonics_up_to_those_shown_are_summed_and_the_rest_is_named() -> None:
    """3150 Hz with odd harmonics: the fifth at 15.75 kHz is cut off, the third shows 9.45 kHz."""
    shares = {1: 1.0, 3: 0.01, 5: 0.005}
    result = figures(tone_material(stored(coded(tone(3150.0, shares), 14_500.0)), hz=3150.0))
    assert result["thd"].value == pytest.approx(1.0, abs=0.005)
    assert result["thd"].detail == {"harmonics": "2 to 4"}
    assert "harmonics above may be missing" in (result["thd_n"].remark or "")
    assert "harmonic 5" not in result


def test_a_tone_whose_harmonics_end_below_the_noise_well_before_is_told_as_it_is() -> None:
    capture = tone_material(stored(tone(997.0, {1: 1.0, 2: 1e-3, 3: 1e-3})), hz=997.0)
    result = figures(capture)
    assert result["thd"].detail == {}
    assert "cut off" not in (result["thd_n"].remark or "")


def test_noise_that_ends_at_an_edge_is_uncertain_by_what_may_be_missing() -> None:
    """White noise of 1.5 steps: of 20 kHz the file keeps 16 kHz."""
    whole = 1.5 * STEP * math.sqrt(20_000 / (RATE / 2))
    kept, cut = (
        figures(idle_material(stored(volts)))["noise"]
        for volts in (noise(1.5 * STEP), coded(noise(1.5 * STEP)))
    )
    assert abs(kept.value - whole) < 3 * kept.uncertainty < 0.1 * whole
    assert "cut off" not in (kept.remark or "")
    assert abs(cut.value - whole) > 4 * kept.uncertainty
    assert abs(cut.value - whole) < 2.5 * cut.uncertainty
    assert "it may have been cut off there" in (cut.remark or "")


def test_a_loop_back_in_steps_still_bounds_what_the_bench_adds() -> None:
    """Beside 6 kHz with a third harmonic of a millionth, which 16 bits can't show."""
    record = Track(tone(6003.0, {1: 1.0, 3: 1e-6}), RATE, TOP, 0.0, 24)
    loop_back = tone_material(stored(tone(6003.0, {1: 1.0})), hz=6003.0)
    alone = figures(tone_material(record, hz=6003.0))["harmonic 3"]
    beside = figures(tone_material(record, hz=6003.0, bench=loop_back))["harmonic 3"]
    assert alone.bound is None
    assert beside.bound == "upper"
    assert "a loop-back shows only" in (beside.remark or "")
