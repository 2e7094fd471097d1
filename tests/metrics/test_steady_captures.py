"""Two tones, many tones and square waves that change within their record."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.stats import t as student

from backbench.metrics.declaration import CaptureData
from many_tones import multitone_material, pair_material, with_noise
from squares import recorded, second_order, square_material
from tones import figures, reasons, tone_material, track

RATE, SECONDS = 96_000.0, 1.5
T = np.arange(int(RATE * SECONDS)) / RATE
MANY = [float(round(hz, -1)) for hz in np.geomspace(40, 15_000, 12)]
Wave = tuple[np.ndarray, Callable[[np.ndarray], CaptureData], str, float]


def modulation() -> Wave:
    x = 2 * np.cos(2 * np.pi * 60.3 * T) + 0.5 * np.cos(2 * np.pi * 7003 * T + 1)
    make = lambda v: pair_material(track(v, RATE), hz=(60.0, 7000.0), ratio=4.0, mains_hz=None)  # noqa: E731
    return with_noise(x + 2e-3 * x**2, 1e-5), make, "modulation_distortion_2", 0.02


def difference() -> Wave:
    x = np.cos(2 * np.pi * 18_003 * T) + np.cos(2 * np.pi * 19_007 * T + 1)
    make = lambda v: pair_material(track(v, RATE), hz=(18_000.0, 19_000.0), mains_hz=None)  # noqa: E731
    return with_noise(x + 2e-3 * x**2, 1e-5), make, "difference_frequency_2", 0.02


def multitone() -> Wave:
    x = sum(0.3 * np.cos(2 * np.pi * hz * T + hz) for hz in MANY)
    make = lambda v: multitone_material(track(v, RATE), hz=MANY)  # noqa: E731
    return with_noise(x + 1e-3 * x**3, 1e-5), make, "multitone_distortion", 0.1


def square() -> Wave:
    volts = recorded(second_order(1.2e4, 0.4), 1000.0, seconds=SECONDS, noise=1e-4, rate=RATE)
    return volts, lambda v: square_material(track(v, RATE)), "overshoot", 0.02


WAVES = {f.__name__: f for f in (modulation, difference, multitone, square)}
HARMFUL: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "level step": lambda v: v * np.where(T > 0.8 * SECONDS, 10 ** (-1 / 20), 1.0),
    "small level step": lambda v: v * np.where(T > 0.8 * SECONDS, 10 ** (-0.2 / 20), 1.0),
    "repeated block": lambda v: np.insert(v, 30_000, v[30_000 - 512 : 30_000]),
    "dropped block": lambda v: np.delete(v, slice(30_000, 30_512)),
    "starts late": lambda v: np.where(T < 0.2, 0.0, v),
    "ends early": lambda v: np.where(T > 0.8 * SECONDS, 0.0, v),
}  # fmt: skip
HOPELESS: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "drift": lambda v: v * 10 ** (-6 * T / 20),
    "wow": lambda v: np.interp(T + 1e-5 * np.sin(2 * np.pi * 4 * T), T, v),
}  # fmt: skip


@pytest.mark.parametrize("wave", WAVES)
def test_what_holds_still_is_not_called_unsteady(wave: str) -> None:
    volts, make, metric, _ = WAVES[wave]()
    assert "steady" not in (figures(make(volts))[metric].remark or "")


@pytest.mark.parametrize("fault", HARMFUL)
@pytest.mark.parametrize("wave", WAVES)
def test_the_part_that_holds_still_is_measured_or_nothing(wave: str, fault: str) -> None:
    volts, make, metric, within = WAVES[wave]()
    truth = figures(make(volts))[metric]
    result = figures(make(HARMFUL[fault](volts)))
    if metric in result:
        assert "of the record alone" in (result[metric].remark or "")
        assert result[metric].value == pytest.approx(truth.value, rel=within)
    else:
        assert "steady" in reasons(make(HARMFUL[fault](volts)))[metric][1]


@pytest.mark.parametrize("fault", HOPELESS)
@pytest.mark.parametrize("wave", WAVES)
def test_what_never_holds_still_gives_no_figure(wave: str, fault: str) -> None:
    volts, make, metric, _ = WAVES[wave]()
    result = reasons(make(HOPELESS[fault](volts)))
    assert "steady" in result[metric][1]


@pytest.mark.parametrize("wave", WAVES)
def test_gaps_are_left_out(wave: str) -> None:
    """Three gaps of 29 zeros in a row: the part without them is measured."""
    volts, make, metric, _ = WAVES[wave]()
    truth = figures(make(volts))[metric].value
    for at in (20_000, 60_000, 100_000):
        volts[at : at + 29] = 0
    result = figures(make(volts))[metric]
    assert "of the record alone" in (result.remark or "")
    assert abs(result.value - truth) <= 2 * result.uncertainty


def whole_periods(wave: str, seed: int) -> Wave:
    """A wave of whole periods in its record, so that turning it in time leaves its tones whole."""
    rng = np.random.default_rng(seed)
    if wave == "square":
        volts = recorded(second_order(1.2e4, 0.4), 1000.0, seconds=SECONDS, noise=1e-4, rate=RATE,
                         seed=seed)  # fmt: skip
        return volts, lambda v: square_material(track(v, RATE)), "overshoot", 0.0
    hz, ratio = {"modulation": ((60.0, 7000.0), 4.0), "difference": ((18e3, 19e3), 1.0)}.get(
        wave, ((), 1.0)
    )
    many = wave == "multitone"
    peaks = dict.fromkeys(MANY, 0.3) if many else {hz[0]: ratio * 0.5, hz[1]: 0.5}
    x = sum(peak * np.cos(2 * np.pi * f * T + rng.uniform(0, 6)) for f, peak in peaks.items())
    volts = with_noise(x + 1e-4 * x**2, 1e-5, seed)
    for at in rng.integers(0, len(T) - 200, 12):
        volts[at : at + 200] += rng.normal(0, 5e-3) * np.exp(-np.arange(200) / 40)
    if many:
        make = lambda v: multitone_material(track(v, RATE), hz=MANY)  # noqa: E731
        return volts, make, "multitone_distortion", 0.0
    pair = lambda v: pair_material(track(v, RATE), hz=hz, ratio=ratio, mains_hz=None)  # noqa: E731
    return volts, pair, f"{wave}_{'distortion' if wave == 'modulation' else 'frequency'}_2", 0.0


@pytest.mark.parametrize("wave", WAVES)
@settings(max_examples=6, deadline=None, derandomize=True)
@given(share=st.floats(0.05, 0.95), seed=st.integers(0, 20))
@example(share=0.15234375, seed=19)
@example(share=0.5, seed=9)
def test_a_record_turned_in_time_reads_the_same(wave: str, share: float, seed: int) -> None:
    """With crackle among the noise, begun at another instant: alike within the uncertainty."""
    volts, make, metric, _ = whole_periods(wave, seed)
    one, other = (figures(make(v))[metric] for v in (volts, np.roll(volts, int(share * len(T)))))
    # Ten readings in a thousand differ by more, of so few crackles as make the scatter.
    apart = math.hypot(one.uncertainty, other.uncertainty)
    reach = student.ppf(0.995, max(min(one.dof, other.dof, 8), 1))
    assert {one.bound, other.bound} <= {None, "upper"}
    if one.bound is None and other.bound is None:
        assert abs(one.value - other.value) <= reach * apart
    elif one.bound != other.bound:
        measured, bound = (one, other) if one.bound is None else (other, one)
        assert measured.value - reach * measured.uncertainty <= bound.value


def test_noise_beside_a_tone_that_wavers_says_so() -> None:
    """0.2 % of flutter at 8 Hz: sidebands of -60 dB each, far above noise of -91 dB."""
    time = np.arange(48_000) / 48_000
    noise = np.random.default_rng(2).normal(0, 2e-5, 48_000)
    still = np.sin(2 * np.pi * 315.3 * time)
    wavers = still * (1 + 2e-3 * np.cos(2 * np.pi * 8 * time))
    result = figures(tone_material(track(wavers + noise), hz=315.3))["snr"]
    assert result.value == pytest.approx(-20 * math.log10(2e-3 / math.sqrt(2)), abs=2)
    assert "the tone's level or phase varies by 0.13 % rms" in (result.remark or "")
    sound = figures(tone_material(track(still + noise), hz=315.3))
    assert sound["snr"].remark is None
    assert "varies" not in (sound["thd_n"].remark or "")


def test_noise_that_is_mostly_one_click_says_so() -> None:
    time = np.arange(48_000) / 48_000
    volts = np.sin(2 * np.pi * 997 * time) + np.random.default_rng(3).normal(0, 2e-5, 48_000)
    volts[30_000] += 5e-3
    result = figures(tone_material(track(volts), hz=997.0))["snr"]
    assert "clicks make up" in (result.remark or "") or "noise isn't steady" in (
        result.remark or ""
    )


def test_gaps_that_spoil_a_fifth_of_a_short_record_are_found() -> None:
    """Six gaps of 2 ms in a third of a second: the misfit of their blocks isn't the usual one."""
    t = np.arange(int(0.33 * RATE)) / RATE
    volts = np.cos(2 * np.pi * 18_001 * t) + np.cos(2 * np.pi * 19_001 * t + 1)
    for at in (0.03, 0.09, 0.14, 0.19, 0.24, 0.31):
        volts[int(at * RATE) : int((at + 0.002) * RATE)] = 0.0
    capture = pair_material(
        track(with_noise(volts, 1e-4), RATE), hz=(18_000.0, 19_000.0), mains_hz=None
    )
    assert "tones_level" not in figures(capture)
    assert "the tones aren't steady" in reasons(capture)["tones_level"][1]
