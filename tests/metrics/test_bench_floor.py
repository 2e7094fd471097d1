"""What a loop-back of the bench does to the figures of a unit taken in the same range."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backbench.metrics.bench_floor import greatest_own, lines_off, noise_off, own_noise
from backbench.metrics.declaration import CaptureData, MeasuredValue
from simulated import simulated_catalogue
from tones import figures, idle_material, sines, tone_material, track

RATE = 48_000.0


def noise(rms: float, seed: int, seconds: float = 2.0) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, rms, int(seconds * RATE))


def test_coherent_cases_of_10_db() -> None:
    """10 dB below gives +2.39 and -3.30 dB (closed form: 20 lg(1 +/- 10^-0.5))."""
    own = 10**-0.5
    assert 20 * math.log10(1 + own) == pytest.approx(2.39, abs=5e-3)
    assert 20 * math.log10(1 - own) == pytest.approx(-3.30, abs=5e-3)
    just_within = lines_off(MeasuredValue(0.9999, 0.0), MeasuredValue(own, 0.0))
    assert just_within.bound == "upper"
    assert just_within.value == pytest.approx(10 ** (2.39 / 20), rel=1e-3)
    assert "to 1.32" in (just_within.remark or "")
    beyond = lines_off(MeasuredValue(1.0001, 0.0), MeasuredValue(own, 0.0))
    assert beyond.bound is None
    assert beyond.uncertainty == pytest.approx(own / math.sqrt(2))


@given(own=st.floats(0, 0.3), phase=st.floats(0, 2 * math.pi), true=st.floats(0.001, 2))
def test_a_line_and_the_bench_s_own_in_any_phase(own: float, phase: float, true: float) -> None:
    """The true line is below the bound, or within k = 2 of the figure."""
    seen = abs(complex(true) + own * complex(math.cos(phase), math.sin(phase)))
    result = lines_off(MeasuredValue(seen, 1e-9), MeasuredValue(own, 0.0))
    if result.bound:
        assert true <= result.value * (1 + 1e-9)
    else:
        assert abs(result.value - true) <= 2 * result.uncertainty * (1 + 1e-3) + 1e-9


def test_noise_is_taken_off_in_power_above_3_db() -> None:
    bench = idle_material(track(noise(1e-4, 1)))
    loud = figures(idle_material(track(noise(2e-4, 2) + noise(1e-4, 3)), bench=bench))
    band = math.sqrt(19_980 / 24_000)
    for name in ("noise", "noise_a", "noise_468", "noise_arm", "noise_ccir_rms", "hiss"):
        assert loud[name].bound is None
    assert abs(loud["noise"].value - 2e-4 * band) < 4 * loud["noise"].uncertainty
    plain = figures(idle_material(track(noise(2e-4, 2) + noise(1e-4, 3))))
    assert loud["noise"].uncertainty > plain["noise"].uncertainty
    assert plain["noise"].value == pytest.approx(math.hypot(2e-4, 1e-4) * band, rel=0.01)


def test_noise_within_3_db_of_the_bench_s_own_is_a_bound() -> None:
    bench = idle_material(track(noise(1e-4, 1)))
    quiet = figures(idle_material(track(noise(1.2e-4, 2)), bench=bench))
    assert quiet["noise"].bound == "upper"
    assert (quiet["noise"].remark or "").startswith("within 3 dB of the bench's own")


def test_a_bench_that_is_itself_a_bound_is_not_taken_off() -> None:
    result = noise_off(MeasuredValue(2.0, 0.01, 0.01), MeasuredValue(1.0, 0.0, bound="upper"))
    assert result.value == 2.0
    assert result.uncertainty > 0.1


def test_hum_within_10_db_of_the_bench_s_own_is_a_bound() -> None:
    mains = sines(RATE, 2.0, {50.0: 1e-3})
    bench = idle_material(track(mains + noise(1e-6, 1)))
    result = figures(idle_material(track(2 * mains + noise(1e-6, 2)), bench=bench))
    assert result["mains_line 1"].bound == "upper"
    assert result["mains_line 1"].value == pytest.approx(3e-3 / math.sqrt(2), rel=1e-3)
    assert result["hum"].value == pytest.approx(3e-3 / math.sqrt(2), rel=1e-3)


def test_distortion_near_the_bench_s_own_is_a_bound() -> None:
    bench = tone_material(track(sines(RATE, 1.0, {1000.0: 4.0, 2000.0: 4e-4}) + noise(1e-6, 1, 1)))
    peaks = {1000.0: 4.0, 2000.0: 8e-4, 3000.0: 4e-2}
    volts = sines(RATE, 1.0, peaks) + noise(1e-6, 2, 1)
    result = figures(tone_material(track(volts), bench=bench))
    assert result["harmonic 2"].bound == "upper"
    assert result["harmonic 2"].value == pytest.approx(20 * math.log10(3e-4), abs=0.01)
    assert result["harmonic 3"].bound is None
    assert result["thd"].value == pytest.approx(1.0, rel=1e-3)
    # 0.01 % of unknown phase in 1 %.
    assert result["thd"].uncertainty == pytest.approx(0.01 / math.sqrt(2), rel=0.01)
    assert result["thd_n"].uncertainty == pytest.approx(0.01 / math.sqrt(2), rel=0.01)


def test_signal_to_noise_without_the_bench_s_noise() -> None:
    clean = sines(RATE, 2.0, {1000.0: 1.0})
    bench = tone_material(track(clean + noise(1e-4, 1)))
    result = figures(tone_material(track(clean + noise(2e-4, 2) + noise(1e-4, 3)), bench=bench))
    expected = 10 * math.log10(0.5 / (4e-8 * 19_980 / 24_000))
    assert abs(result["snr"].value - expected) < 4 * result["snr"].uncertainty
    near = figures(tone_material(track(clean + noise(1.1e-4, 2)), bench=bench))
    assert near["snr"].bound == "lower"
    assert near["sinad"].bound == "lower"
    assert near["thd_n"].bound == "upper"


def test_a_loop_back_in_the_same_range_is_found_and_named(circuits: Path, tmp_path: Path) -> None:
    """A loop-back as distorted as the unit makes every distortion figure of that range a bound."""
    folder = circuits / "single_ended_stage"
    (folder / "bench.flac").write_bytes((folder / "sine_mid.flac").read_bytes())
    manifest = folder / "review.toml"
    loop = '\n[[capture]]\nfile = "bench.flac"\nloop_back = true\n'
    loop += 'stimulus = { tone_hz = 1000, generator_vrms = "unknown" }\n'
    catalogue = simulated_catalogue(tmp_path / "catalogue")
    manifest.write_text(manifest.read_text() + loop)
    catalogue.ingest([folder], history=False)
    rows = catalogue.readings().filter(pl.col("metric") == "thd", pl.col("unit_key") != "")
    reasons = [r for r in rows["reason"].to_list() if "the bench's own" in (r or "")]
    assert set(rows["status"]) == {"at_floor"}
    assert len(reasons) == 3


def test_several_loop_backs_of_noise_count_by_their_mean_and_how_they_differ() -> None:
    """Closed form: sqrt(10^2 - (3^2 + 4^2) / 2) = 9.354; the bench may be 3 or 4."""
    own = own_noise([MeasuredValue(3.0, 0.0), MeasuredValue(4.0, 0.0)])
    result = noise_off(MeasuredValue(10.0, 0.0), own)
    assert result.value == pytest.approx(math.sqrt(87.5))
    for bench in (3.0, 4.0):
        assert abs(math.sqrt(100 - bench**2) - result.value) < 2 * result.uncertainty
    assert own_noise([]) is None
    bounded = own_noise([MeasuredValue(3.0, 0.0, bound="upper"), MeasuredValue(2.0, 0.0)])
    assert bounded is not None
    assert (bounded.value, bounded.bound) == (3.0, "upper")


def test_of_lines_the_greatest_that_stands_out_counts() -> None:
    owns = [
        MeasuredValue(5.0, 0.0, bound="upper"),
        MeasuredValue(2.0, 0.0),
        MeasuredValue(3.0, 0.0),
    ]
    assert greatest_own(owns) == owns[2]
    assert greatest_own([]) is None


def test_loop_backs_of_idle_noise_are_all_used() -> None:
    """White noise of 30, 10 and 12 uV: rms with and without the mean of both loop-backs."""

    def white(volts: float, seed: int) -> CaptureData:
        return idle_material(track(noise(volts * math.sqrt(24 / 19.98), seed), RATE))

    several = replace(white(30e-6, 1), bench=white(10e-6, 2), bench_levels=(white(12e-6, 3),))
    result = figures(several)["noise"]
    assert result.value == pytest.approx(math.sqrt(900 - 122) * 1e-6, rel=0.01)
