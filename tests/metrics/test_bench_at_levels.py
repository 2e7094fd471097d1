"""The bench's own distortion at the level of a capture, from loop-backs at other levels."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backbench.documents.stimuli import Steps, Tone
from backbench.metrics.bench_levels import own_at
from backbench.metrics.declaration import CaptureData, MeasuredValue
from many_tones import pair_material
from tones import figures, sines, tone_material, track

RATE = 48_000.0


def through(peak: float, unit: float, cube: float, seed: int) -> np.ndarray:
    """A tone with the unit's third harmonic, a share, through a converter x + cube x^3."""
    clean = sines(RATE, 1.0, {997.0: peak, 2991.0: unit * peak}, phase=0.0)
    volts = clean + cube * clean**3
    return np.asarray(volts + np.random.default_rng(seed).normal(0, 1e-6, len(volts)))


def capture(peak: float, unit: float = 0.0, seed: int = 1, **kept: object) -> CaptureData:
    return tone_material(track(through(peak, unit, 1e-5, seed)), hz=997.0, **kept)


def test_a_converter_s_cubic_is_not_credited_to_the_unit() -> None:
    """Third harmonic of x + a x^3: a A^2 / 4 of the fundamental (closed form)."""
    far = figures(capture(4.0, bench=capture(0.5, seed=2)))["thd"]
    assert far.bound == "upper"
    assert far.value >= 100 * 1e-5 * 16 / 4
    assert "the nearest loop-back is at" in (far.remark or "")


def test_two_loop_backs_bracket_the_level() -> None:
    low, high = capture(2.0, seed=2), capture(8.0, seed=3)
    result = figures(capture(4.0, unit=1e-3, seed=4, bench=low, bench_levels=(high,)))["thd"]
    assert result.bound is None
    # The cubic's own at 4 V is 0.004 %: of unknown phase in the interval.
    assert result.uncertainty == pytest.approx(0.004 / math.sqrt(2), rel=0.05)
    assert abs(result.value - 0.1) < 2 * result.uncertainty


def test_a_unit_far_above_the_ceiling_stays_measured() -> None:
    result = figures(capture(4.0, unit=1e-2, bench=capture(1.0, seed=2)))["thd"]
    assert result.bound is None
    assert abs(result.value - 1.0) < 2 * result.uncertainty


@given(level=st.floats(0.1, 50.0), cube=st.floats(1e-7, 1e-4))
def test_beyond_the_loop_backs_the_ceiling_holds_a_cubic(level: float, cube: float) -> None:
    def own(volts: float) -> float:
        return 100 * cube * volts**2 / 4

    known = [(volts, MeasuredValue(own(volts), 0.0)) for volts in (1.0, 4.0)]
    result = own_at(level, known)
    outside = not 10 ** (-1 / 20) <= level <= 4 * 10 ** (1 / 20)
    assert (result.reason is not None) == outside
    assert result.figure.value >= own(level) * 0.79
    if 1.2 < level < 3.5:
        assert result.figure.value == pytest.approx(own(level), rel=1e-9)


def test_two_bounds_give_the_greater_of_them() -> None:
    known = [(v, MeasuredValue(b, 0.0, bound="upper")) for v, b in ((1.0, 0.02), (4.0, 0.01))]
    assert own_at(2.0, known).figure.value == 0.02


def test_what_a_jump_adds_to_a_loop_back_is_not_the_benchs() -> None:
    """A loop-back with a repeated block is measured beside it, one that is all jumps not at all."""
    whole = through(4.0, 0.0, 1e-5, 5)
    jumped = np.insert(whole, 30_000, whole[29_950:30_000])
    clean, spoilt = (tone_material(track(one), hz=997.0) for one in (whole, jumped))
    same = [figures(capture(4.0, unit=1e-3, seed=4, bench=one))["thd"] for one in (clean, spoilt)]
    assert same[1].value == pytest.approx(same[0].value, rel=1e-3)
    assert same[1].uncertainty < 2 * same[0].uncertainty


def pair(peak: float, square: float, seed: int, **kept: object) -> CaptureData:
    """Two equal tones through a converter x + square x^2."""
    clean = sines(96_000.0, 0.5, {19_000.0: peak, 20_000.0: peak})
    noise = np.random.default_rng(seed).normal(0, 1e-6, len(clean))
    record = track(clean + square * clean**2 + noise, 96_000.0)
    return pair_material(record, mains_hz=None, **kept)


def test_a_loop_back_of_two_tones_at_another_level_tells_a_ceiling() -> None:
    """Second order of x + a x^2: a A / 2 of the sum of both tones (closed form)."""
    far = figures(pair(4.0, 1e-5, 1, bench=pair(0.5, 1e-5, 2)))["difference_frequency_2"]
    assert far.bound == "upper"
    assert far.value >= 100 * 1e-5 * 4.0 / 2
    assert "the nearest loop-back is at" in (far.remark or "")


def test_loop_backs_of_two_tones_bracket_a_level() -> None:
    given = {"bench": pair(2.0, 1e-6, 2), "bench_levels": (pair(4.5, 1e-6, 3),)}
    near = figures(pair(3.0, 1e-4, 1, **given))["difference_frequency_2"]
    assert near.bound is None
    assert near.uncertainty == pytest.approx(100 * 1e-6 * 3.0 / 2 / math.sqrt(2), rel=0.1)


def test_steps_are_held_against_loop_backs_of_a_tone() -> None:
    steps = Steps(steps_hz=997.0, step_s=1.0, levels_vrms=[0.1, 0.2])
    tone = Tone(tone_hz=997.0, generator_vrms=0.2)
    assert steps.same_with_loop_back == tone.same_with_loop_back


def test_a_loop_back_that_cannot_be_used_is_named() -> None:
    """One that clipped is no loop-back: the figure may hold what the bench adds, and says so."""
    over = np.clip(through(9.0, 0.0, 0.0, 5), -8.0, 8.0)
    clipped = tone_material(track(over, full_scale_v=8.0), hz=997.0)
    result = figures(capture(4.0, unit=1e-3, bench=clipped))["thd"]
    assert "as a loop-back can't be used: the converter clipped" in (result.remark or "")
    both = figures(capture(4.0, unit=1e-3, bench=capture(4.0, seed=2), bench_levels=(clipped,)))
    assert "a loop-back can't be used" in (both["thd"].remark or "")
    sound = figures(capture(4.0, unit=1e-3, bench=capture(4.0, seed=2)))["thd"]
    assert "can't be used" not in (sound.remark or "")


def test_lines_that_a_loop_back_hides_may_have_taken_off_the_unit_s() -> None:
    """0.02 % of the unit, 0.004 % of the bench against it, under a loop-back's noise of 0.014 %."""

    def taken(peaks: dict[float, float], seed: int, noise: float) -> CaptureData:
        volts = sines(RATE, 0.4, peaks, phase=0.0)
        volts += np.random.default_rng(seed).normal(0, noise, len(volts))
        return tone_material(track(volts), hz=997.0)

    noise = 1.4e-4 / math.sqrt(2)
    bench = taken({997.0: 1.0, 2991.0: -4e-6}, 1, noise)
    unit = taken({997.0: 1.0, 2991.0: 1.1e-4}, 2, 0.9 * noise)
    alone = figures(unit)["thd_n"]
    found = figures(replace(unit, bench=bench))["thd_n"]
    assert found.bound == "upper"
    assert found.value > alone.value
