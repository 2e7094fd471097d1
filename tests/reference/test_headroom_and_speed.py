"""Dynamic headroom, equivalent sine power and transport speed beside things outside.

Headroom: the worked figures of a letter to net.audio, 2 November 1983 (50 W with 6 dB of headroom
does on short peaks what 200 W do), and of an on-line encyclopedia of music (200 W for 100 W: 3 dB);
powers by numpy's mean square over whole periods. Equivalent sine power: the greatest magnitude of
the finely sampled sum of two sines, which a sine of equal peak has too. Speed: a counter of zero
crossings, as IEC 60386 has it done (second-hand), and the two speeds of "78" records, 3600 / 46
and 3000 / 38.5 turns a minute, of national standards for 60 and 50 Hz mains (second-hand).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Burst, Transport, TwoTones
from backbench.metrics.declaration import CaptureData
from backbench.metrics.session import Reading
from backbench.signal.track import Array
from bench_readings import one, reading
from tones import figures, track

RATE = 48_000.0
LOAD_OHM = 8.0
LOADED = Conditions(load_ohm=LOAD_OHM)
READ = ("burst_power", "burst_distortion", "burst_end_distortion", "burst_flattening")


def limited_bursts(peak: float, rail: float) -> Array:
    """20 ms of 1 kHz every 500 ms, 20 dB lower between, of an amplifier that ends at its rails."""
    t = np.arange(int(1.7 * RATE)) / RATE
    inside = (t >= 0.1) & ((t - 0.1) % 0.5 < 0.02)
    volts = np.clip(peak * np.sin(2 * np.pi * 1000 * t) * np.where(inside, 1.0, 0.1), -rail, rail)
    return np.asarray(volts + np.random.default_rng(3).normal(0, 1e-4, len(t)))


def mean_square_power(volts: Array) -> float:
    """Of ten whole periods within the first burst, into the load, W."""
    first = int(0.105 * RATE)
    return float(np.mean(volts[first : first + int(0.01 * RATE)] ** 2)) / LOAD_OHM


def readings_of(volts: Array, key: str) -> list[Reading]:
    stimulus = Burst(burst_hz=1000.0, on_ms=20.0, period_ms=500.0, generator_vrms=0.5)
    taken = CaptureData(stimulus, LOADED, {1: track(volts, RATE, full_scale_v=200.0)})
    found = figures(taken)
    return [
        reading(name, f.value, f.uncertainty / f.value, f.estimation / f.value, bound=f.bound,
                detail=f.detail, analysis_key=key, stimulus="burst")
        for name in READ if (f := found.get(name))
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("rated_w", "greatest_w", "told_db"), [(50.0, 200.0, 6), (100.0, 200.0, 3)]
)
def test_headroom_of_the_worked_figures(rated_w: float, greatest_w: float, told_db: int) -> None:
    """The amplifier's rails just hold bursts of 200 W; it is tried below, at and above them."""
    rail = math.sqrt(2 * greatest_w * LOAD_OHM)
    tried = {share: limited_bursts(share * rail, rail) for share in (0.7, 0.99, 1.05, 1.2)}
    readings = [x for share, volts in tried.items() for x in readings_of(volts, str(share))]
    powers = {float(x.analysis_key): x.value for x in readings if x.metric == "burst_power"}
    for share in (0.7, 0.99):
        assert powers[share] == pytest.approx(mean_square_power(tried[share]), rel=1e-4)
    result = one("dynamic_headroom", readings, rated_power_w={"amp": rated_w}).figure
    assert result.bound is None
    assert round(result.value) == told_db
    exact = 10 * math.log10(greatest_w / rated_w)
    assert abs(result.value - exact) < 2 * result.uncertainty < 0.5


@pytest.mark.parametrize(
    ("hz", "peaks"), [((60.3, 7001.7), (4.0, 1.0)), ((18_993.7, 20_011.9), (2.5, 2.5))]
)
def test_equivalent_sine_power_is_that_of_a_sine_as_high(
    hz: tuple[float, float], peaks: tuple[float, float]
) -> None:
    t = np.arange(48_000) / RATE
    volts = sum(peak * np.sin(2 * np.pi * f * t) for f, peak in zip(hz, peaks, strict=True))
    noise = np.random.default_rng(4).normal(0, 1e-5, len(t))
    stimulus = TwoTones(tones_hz=list(hz), ratio=peaks[0] / peaks[1], generator_vrms=0.5)
    found = figures(CaptureData(stimulus, LOADED, {1: track(volts + noise, RATE)}))
    fine = np.linspace(0, 0.1, 4_000_001)
    crest = np.abs(sum(p * np.sin(2 * np.pi * f * fine) for f, p in zip(hz, peaks, strict=True)))
    as_high = crest.max() * np.sin(2 * np.pi * np.arange(1000) / 1000)
    expected = float(np.mean(as_high**2)) / LOAD_OHM
    assert found["equivalent_sine_power"].value == pytest.approx(expected, rel=1e-4)


def counted_hz(volts: Array, rate_hz: float) -> float:
    """By a counter: whole periods between the first and the last rising zero crossing."""
    before = np.flatnonzero((volts[:-1] < 0) & (volts[1:] >= 0))
    at = before + volts[before] / (volts[before] - volts[before + 1])
    return float((len(at) - 1) * rate_hz / (at[-1] - at[0]))


@pytest.mark.parametrize(
    ("cut_at", "played_at"),
    [(3600 / 46, 3000 / 38.5), (3000 / 38.5, 3600 / 46), (33 + 1 / 3, 33.5)],
)
def test_speed_of_a_record_cut_for_another_speed(cut_at: float, played_at: float) -> None:
    """3 150 Hz with the eccentric hole's wow of 0.2 %, over whole turns of the disc."""
    rate, turns_hz = 16_000.0, played_at / 60
    t = np.arange(int(34 * rate)) / rate
    speed = played_at / cut_at * (1 + 2e-3 * np.cos(2 * np.pi * turns_hz * t))
    volts = np.sin(2 * np.pi * 3150 * np.cumsum(speed) / rate)
    volts += 1e-3 * np.random.default_rng(5).normal(size=len(t))
    taken = CaptureData(Transport(transport_hz=3150.0), Conditions(), {1: track(volts, rate)})
    result = figures(taken)["speed_error"]
    whole = volts[: int(int(34 * turns_hz) / turns_hz * rate)]
    counted = 100 * (counted_hz(whole, rate) / 3150 - 1)
    assert result.value == pytest.approx(counted, abs=0.003)
    assert abs(result.value - 100 * (played_at / cut_at - 1)) < 2 * result.uncertainty + 1e-3
