"""The course of a tone in time, and which part of a record holds still."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.errors import Refusal
from backbench.metrics.recorder_rate import HEADER_ALONE
from backbench.signal import steadiness
from backbench.signal.block_scatter import scatter
from backbench.signal.line_course import LineCourse, line_course
from backbench.signal.steadiness import _beat
from backbench.signal.steadiness import _is_surely_still as seen_at_a_look
from tones import figures, idle_material, reasons, sines, tone_material, track

RATE, SECONDS = 48_000.0, 2.0
T = np.arange(int(RATE * SECONDS)) / RATE
TONE = {1000.3: 3.0, 2000.6: 3e-3, 50.02: 1e-3}


def noise(volts: float = 1e-5, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, volts, len(T))


def clean() -> np.ndarray:
    return sines(RATE, SECONDS, TONE) + noise()


def gaps() -> np.ndarray:
    volts = clean()
    for at in (20_000, 50_000, 70_000):
        volts[at : at + 29] = 0
    return volts


def repeated() -> np.ndarray:
    volts = clean()
    return np.insert(volts, 30_000, volts[30_000 - 512 : 30_000])


def wow(depth: float) -> np.ndarray:
    """A tone whose frequency swings by a share of itself four times a second."""
    turns = 2 * np.pi * 1000.3 * T + depth * 1000.3 / 4 * np.sin(2 * np.pi * 4 * T)
    return 3 * np.cos(turns) + noise()


def test_levels_and_phase_of_every_block() -> None:
    """Closed form: two lines of known amplitude and phase on a steady part."""
    volts = 2.0 * np.cos(2 * np.pi * 997.3 * T + 0.7) + 0.1 * np.sin(2 * np.pi * 150 * T) + 0.25
    result = line_course(volts, RATE, np.array([150.0, 997.3]))
    assert np.abs(result.phasors[:, 1]) == pytest.approx(2.0, rel=1e-5)
    assert np.angle(result.phasors[:, 1]) == pytest.approx(0.7, abs=1e-5)
    assert np.abs(result.phasors[:, 0]) == pytest.approx(0.1, rel=1e-4)
    assert result.offset == pytest.approx(0.25, rel=1e-5)
    assert float(result.left.max()) < (2.0 * 1e-6) ** 2


def test_least_squares_of_a_general_library_agree() -> None:
    """Independent reference: numpy's least squares on the same block."""
    rng = np.random.default_rng(4)
    volts = 2 * np.cos(2 * np.pi * 61.7 * T) + rng.normal(0, 0.1, len(T))
    result = line_course(volts, RATE, np.array([61.7, 123.4]))
    n = result.length
    j = np.arange(n) - (n - 1) / 2
    w = 2 * np.pi * np.array([61.7, 123.4]) / RATE
    table = np.stack([np.ones(n), *(f(k * j) for k in w for f in (np.cos, np.sin))], axis=1)
    fit, rest = np.linalg.lstsq(table, volts[n : 2 * n])[:2]
    assert np.abs(result.phasors[1]) == pytest.approx(np.hypot(fit[1::2], fit[2::2]), rel=1e-4)
    assert result.offset[1] == pytest.approx(fit[0], rel=1e-3)
    assert result.left_by_block[1] == pytest.approx(float(rest[0]) / n, rel=0.02)


@pytest.mark.parametrize(
    ("volts", "why"),
    [
        (clean() * 10 ** (-15 * T / SECONDS / 20), "its level changes by 1[0-9] dB"),
        (wow(1e-3), "its phase wanders"),
        (wow(2e-4), "its phase wanders"),
    ],
)
def test_a_tone_that_never_holds_still_gives_no_figure(volts: np.ndarray, why: str) -> None:
    result = reasons(tone_material(track(volts)))
    assert figures(tone_material(track(volts))) == {}
    for metric in ("thd", "thd_n", "level"):
        with pytest.raises(Refusal, match=why):
            raise Refusal(result[metric][1])


@pytest.mark.parametrize(
    ("volts", "why"),
    [
        (clean() * np.where(T > 0.8, 10 ** (-1 / 20), 1.0), "its level changes by 1 dB"),
        (clean() * np.where(T > 0.8, 10 ** (-0.1 / 20), 1.0), "its level jumps by up to 0.1 dB"),
        (gaps(), "a gap, a click or a jump"),
        (repeated(), "its level changes by"),
        (np.delete(clean(), slice(30_000, 30_512)), "its level changes by"),
    ],
)
def test_what_holds_still_is_measured_and_the_rest_named(volts: np.ndarray, why: str) -> None:
    truth = figures(tone_material(track(clean())))
    result = figures(tone_material(track(volts)))
    for metric in ("thd_n", "thd", "snr"):
        assert why in (result[metric].remark or "")
        assert result[metric].value == pytest.approx(truth[metric].value, rel=0.05)


def crackling(rng: np.random.Generator, seconds: float, pops: int) -> np.ndarray:
    count = int(RATE * seconds)
    volts = rng.normal(0, 1e-5, count)
    for at in rng.integers(0, count - 200, pops):
        volts[at : at + 200] += rng.normal(0, 1.5e-3) * np.exp(-np.arange(200) / 40)
    return volts


def turned(volts: np.ndarray, share: float) -> np.ndarray:
    """The same record, begun at another instant."""
    return np.roll(volts, int(share * len(volts)))


@settings(max_examples=6, deadline=None)
@given(share=st.floats(0.05, 0.95), seed=st.integers(0, 10))
def test_a_record_turned_in_time_reads_the_same(share: float, seed: int) -> None:
    """Crackling noise, begun at another instant, reads the same within twice its uncertainty."""
    volts = crackling(np.random.default_rng(seed), 2.0, 12)
    one, other = (figures(idle_material(track(v)))["noise"] for v in (volts, turned(volts, share)))
    apart = math.hypot(one.uncertainty, other.uncertainty)
    assert abs(one.value - other.value) <= 2.5 * apart
    assert "the noise isn't steady" in (one.remark or "")


@settings(max_examples=6, deadline=None)
@given(share=st.floats(0.05, 0.95), seed=st.integers(0, 10))
def test_a_bound_under_crackle_holds_wherever_the_record_begins(share: float, seed: int) -> None:
    """Closed form: all power of 20 Hz to 20 kHz but the tone's, of whole periods of it."""
    volts = crackling(np.random.default_rng(seed), 2.0, 12)
    volts = volts + sines(RATE, 2.0, {1000.0: 3.0, 2000.0: 1e-4})
    power = np.abs(np.fft.rfft(volts)[: int(20_000 * 2.0) + 1]) ** 2
    tone = power[2000]
    truth = 100 * math.sqrt((power[40:].sum() - tone) / tone)
    for record in (volts, turned(volts, share)):
        figure = figures(tone_material(track(record)))["thd_n"]
        assert figure.bound == "upper"
        assert truth <= figure.value < 6 * truth
        assert "the noise isn't steady" in (figure.remark or "")


def test_steady_noise_is_read_as_it_was() -> None:
    """Golden value: the whole record, with no remark but that of a lone file."""
    result = figures(idle_material(track(noise(1e-4))))["noise"]
    assert result.remark == HEADER_ALONE
    assert result.value == pytest.approx(1e-4 * math.sqrt(19_980 / 24_000), rel=0.01)


def test_scatter_of_known_squares() -> None:
    """Closed form: 1, 3, 1, 3 has the mean 2 and the sample deviation 2 / sqrt(3)."""
    result = scatter(np.array([1.0, 3.0, 1.0, 3.0]), 1.0)
    assert result.relative == pytest.approx(2 / math.sqrt(3) / 2 / 2)
    assert result.span_db == pytest.approx(10 * math.log10(3))


@settings(max_examples=200, deadline=None)
@given(
    size=st.floats(-7, 0), noise=st.floats(-9, -1), beside=st.floats(-12, -1),
    kind=st.sampled_from(["turned", "level", "one", "drift", "random"]),
    blocks=st.integers(2, 32), wander=st.sampled_from([1e-4, 1e-2, math.inf]),
    seed=st.integers(0, 99),
)  # fmt: skip
def test_a_look_never_passes_what_a_limit_would_refuse(
    size: float, noise: float, beside: float, kind: str, blocks: int, wander: float, seed: int
) -> None:
    """Property: what is found still at a look is found still by every limit on its own."""
    rng, change = np.random.default_rng(seed), 10.0**size
    at = np.arange(blocks) / blocks
    off = {
        "turned": np.exp(1j * change * rng.normal(size=blocks)) - 1,
        "level": change * (at > 0.5),
        "one": change * (np.arange(blocks) == blocks // 2),
        "drift": np.exp(40j * change * at) - 1,
        "random": change * (rng.normal(size=blocks) + 1j * rng.normal(size=blocks)),
    }[kind]
    left = 10.0 ** (2 * noise) * rng.exponential(size=(blocks, 8))
    course = LineCourse(2 * (1 + off)[:, None], at, left, 6000, 192e3, np.array([31.3]))
    assert seen_at_a_look(course, 10.0**beside, _beat(course), wander) <= (
        all_limits(course, 10.0**beside, wander) == (0, blocks)
    )


def all_limits(course: LineCourse, beside: float, wander: float) -> tuple[int, int]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(steadiness, "_is_surely_still", lambda *_: False)
        return steadiness.steady_segment(course, beside, wander)
