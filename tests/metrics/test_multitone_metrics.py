"""Many tones: what lies between them, response at them, refusals, properties."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.metrics.measurement import measure
from backbench.signal.intermodulation import seek_tones
from backbench.signal.multitone_residual import residual_between_tones
from backbench.signal.track import Track
from many_tones import RATE, multitone_material, with_noise
from tones import figures, reasons, track

HZ = tuple(20.0 * k for k in (2, 5, 11, 26, 53, 103, 222, 505, 934))
OFF = 1.0 + 13e-6


def tones(
    hz: tuple[float, ...] = HZ, peak: float = 0.3, seconds: float = 0.6, off: float = OFF
) -> np.ndarray:
    """Equal tones on a clock a little off, at phases that keep the peak low."""
    t = np.arange(int(RATE * seconds)) / RATE
    return sum(peak * np.cos(2 * np.pi * f * off * t + k * k) for k, f in enumerate(hz))  # type: ignore[return-value]


def test_white_noise_between_the_tones() -> None:
    """Closed form: noise of s rms over 48 kHz holds s^2 19 980 / 48 000 in 20 Hz to 20 kHz."""
    result = figures(multitone_material(track(with_noise(tones(), 1e-3), RATE), hz=HZ))
    noise = 1e-3 * math.sqrt(19_980 / 48_000)
    whole = 0.3 * math.sqrt(len(HZ) / 2)
    assert result["between_tones"].value == pytest.approx(noise, rel=0.02)
    assert abs(result["between_tones"].value - noise) < 4 * result["between_tones"].uncertainty
    assert result["multitone_distortion"].value == pytest.approx(100 * noise / whole, rel=0.02)
    assert result["tones_level"].value == pytest.approx(whole, rel=1e-4)


def test_products_of_a_square_law() -> None:
    """Closed form: y = x + k x^2 gives each pair's sum and difference the amplitude k a^2."""
    x = tones()
    result = figures(multitone_material(track(with_noise(x + 1e-3 * x**2), RATE), hz=HZ))
    product = 1e-3 * 0.3**2 / math.sqrt(2)
    assert result["greatest_product"].value == pytest.approx(product, rel=0.01)
    expected = 20 * math.log10(0.3 / (1e-3 * 0.3**2))
    assert result["sfdr"].value == pytest.approx(expected, abs=0.05)
    squares = {abs(a + s * b) for i, a in enumerate(HZ) for b in HZ[:i] for s in (1, -1)}
    near = min(abs(result["greatest_product"].frequency_hz / OFF - f) for f in squares)
    assert near < 0.1


def test_the_greatest_line_is_found_where_it_is() -> None:
    t = np.arange(int(RATE * 0.6)) / RATE
    spurious = 1e-4 * np.cos(2 * np.pi * 7321.3 * t)
    result = figures(multitone_material(track(with_noise(tones() + spurious), RATE), hz=HZ))
    line = result["greatest_product"]
    assert line.frequency_hz == pytest.approx(7321.3, abs=0.02)
    assert line.value == pytest.approx(1e-4 / math.sqrt(2), rel=1e-2)
    assert result["sfdr"].value == pytest.approx(20 * math.log10(0.3 / 1e-4), abs=0.1)


def test_without_a_line_that_stands_out_there_is_a_bound() -> None:
    result = figures(multitone_material(track(with_noise(tones(), 1e-4), RATE), hz=HZ))
    assert result["greatest_product"].bound == "upper"
    assert result["sfdr"].bound == "lower"


def test_response_at_the_tones() -> None:
    """A first-order low-pass at 10 kHz: 1 / sqrt(1 + (f / 10 kHz)^2) at each tone."""
    t = np.arange(int(RATE * 0.6)) / RATE
    peaks = [0.3 / math.hypot(1, f / 1e4) for f in HZ]
    volts = sum(
        p * np.cos(2 * np.pi * f * t + k) for k, (f, p) in enumerate(zip(HZ, peaks, strict=False))
    )
    given_ = multitone_material(track(with_noise(volts), RATE), hz=HZ)
    (response,) = (t.data for t in measure(given_)[1] if t.name == "multitone_response")
    expected = [-10 * math.log10((1 + (f / 1e4) ** 2) / (1 + (1060 / 1e4) ** 2)) for f in HZ]
    assert response.x == pytest.approx(HZ, rel=1e-6)
    assert response.y == pytest.approx(expected, abs=1e-3)
    generator = track(with_noise(volts, seed=2), RATE)
    beside = multitone_material(track(2 * with_noise(volts), RATE), hz=HZ, generator=generator)
    (response,) = (t.data for t in measure(beside)[1] if t.name == "multitone_response")
    assert response.y == pytest.approx(np.zeros(len(HZ)), abs=1e-3)


def test_equivalent_bits_follow_from_the_share() -> None:
    result = figures(multitone_material(track(with_noise(tones(), 1e-3), RATE), hz=HZ))
    sinad = -20 * math.log10(result["multitone_distortion"].value / 100)
    assert result["equivalent_bits"].value == pytest.approx((sinad - 1.7609) / 6.0206, rel=1e-9)


@pytest.mark.parametrize(
    ("volts", "hz", "message"),
    [
        (tones(HZ[:-1]), HZ, "no tone near 18.68 kHz"),
        (tones(), (100.0, 100.0, 200.0), "twice"),
        (tones((1000.0, 1010.0, 1020.0)), (1000.0, 1010.0, 1020.0), "too short"),
        (np.clip(tones(peak=9.0), -10, 10), HZ, "clipped"),
        (np.zeros(60_000), HZ, "silence"),
        (tones((*HZ[:-1], 17_000.0)), HZ, "is at 17.0002 kHz"),
    ],
)
def test_what_is_not_as_stated_is_refused(
    volts: np.ndarray, hz: tuple[float, ...], message: str
) -> None:
    refused = reasons(multitone_material(track(volts, RATE), hz=hz))
    assert {status for status, _ in refused.values()} == {"rejected"}
    assert message in refused["tones_level"][1]


SPACED = st.lists(st.floats(1.08, 3.0), min_size=3, max_size=9).map(
    lambda ratios: tuple(np.round(60.0 * np.cumprod(ratios), 1).tolist())
)


@settings(max_examples=15, deadline=None)
@given(SPACED, st.floats(0.01, 3.0))
def test_any_list_of_tones_is_read_alike_at_any_level(hz: tuple[float, ...], gain: float) -> None:
    hz = tuple(f for f in hz if f < 19_000)
    if len(hz) < 3 or min(b - a for a, b in pairwise(hz)) < 30:
        return
    volts = with_noise(tones(hz, off=1.0), 1e-4)
    as_is, scaled = (
        figures(multitone_material(track(g * volts, RATE), hz=hz)) for g in (1.0, gain)
    )
    assert as_is["tones_level"].value == pytest.approx(0.3 * math.sqrt(len(hz) / 2), rel=1e-3)
    assert as_is["between_tones"].value == pytest.approx(1e-4 * math.sqrt(0.41625), rel=0.05)
    for name in ("multitone_distortion", "sfdr", "equivalent_bits"):
        assert scaled[name].value == pytest.approx(as_is[name].value, rel=1e-6)


def test_kept_values() -> None:
    """Values of this record when the method was written: a change is a new method version."""
    x = tones()
    result = figures(multitone_material(track(with_noise(x + 1e-3 * x**2, 1e-5), RATE), hz=HZ))
    assert result["between_tones"].value == pytest.approx(5.3636e-4, rel=1e-3)
    assert result["equivalent_bits"].value == pytest.approx(9.9200, abs=1e-3)


def test_the_strongest_product_is_the_strongest_between_bins_too() -> None:
    """Of two lines alike the one between two bins shows less in them than the one upon a bin."""
    seconds, rate = 1.0, 96_000.0
    t = np.arange(int(rate * seconds)) / rate
    volts = sum(0.3 * np.cos(2 * np.pi * hz * t) for hz in (200.0, 1000.0, 5000.0))
    volts += 1.00e-2 * np.cos(2 * np.pi * 3000.0 * t) + 1.02e-2 * np.cos(2 * np.pi * 7000.5 * t)
    volts += np.random.default_rng(3).normal(0, 1e-5, len(t))
    result = figures(multitone_material(track(volts, rate), hz=[200.0, 1000.0, 5000.0]))
    product = result["greatest_product"]
    assert product.frequency_hz == pytest.approx(7000.5, abs=0.1)
    assert product.value == pytest.approx(1.02e-2 / math.sqrt(2), rel=1e-3)


@pytest.mark.parametrize("seconds", [0.8, 0.95, 1.1, 1.5])
def test_products_near_a_tone_are_counted_whole(seconds: float) -> None:
    """Closed form: lines 10 Hz beside each tone, whose lobes reach into the tones' own bins."""
    hz = [200.0, 1000.0, 3000.0, 7000.0, 12_010.0]
    t = np.arange(int(RATE * seconds)) / RATE
    volts = np.zeros(len(t))
    for f in hz:
        volts += 0.3 * np.cos(2 * np.pi * f * t + f)
        volts += 1e-3 * (np.cos(2 * np.pi * (f + 10) * t) + np.cos(2 * np.pi * (f - 10) * t + 1))
    tones = seek_tones(track(with_noise(volts, 1e-6), RATE), hz, 200.0, None)
    result = residual_between_tones(tones, hz)
    assert result.rms == pytest.approx(math.sqrt(10 * 1e-6 / 2), rel=2e-3)
    # Without the period, what reaches into the tones' bins is lost where the record is short.
    assert (residual_between_tones(tones).rms < 0.99 * result.rms) == (seconds < 1.1)


def in_16_bits(volts: np.ndarray, dithered: bool) -> tuple[np.ndarray, float]:
    """The record in steps of 16 bits of 4 V, with triangular dither or none, and the step."""
    step = 2 * 4.0 / 2**16
    rng = np.random.default_rng(3)
    dither = rng.uniform(-0.5, 0.5, (2, len(volts))).sum(axis=0) if dithered else 0.0
    return step * np.round(volts / step + dither), step


def test_the_noise_of_dithered_steps_is_no_part_of_what_is_between_the_tones() -> None:
    """Closed form: triangular dither adds a quarter of a squared step over half the rate."""
    own = 7e-5
    volts, step = in_16_bits(with_noise(tones(), own), dithered=True)
    result = figures(multitone_material(Track(volts, RATE, 4.0, 0.0, 16), hz=HZ))
    share = 19_980 / (RATE / 2)
    found, true = result["between_tones"], own * math.sqrt(share)
    assert found.value**2 < (own**2 + step**2 / 4) * share
    assert abs(found.value - true) < 2 * found.uncertainty
    bits, distortion = result["equivalent_bits"], result["multitone_distortion"]
    assert bits.value == pytest.approx((-20 * math.log10(distortion.value / 100) - 1.7609) / 6.0206)
    assert bits.uncertainty > 10 * 1e-3


def test_where_dithered_or_undithered_steps_rule_all_between_the_tones_is_a_bound() -> None:
    for dithered, own in ((True, 1e-6), (False, 1e-6)):
        volts, _ = in_16_bits(with_noise(tones(), own), dithered)
        result = figures(multitone_material(Track(volts, RATE, 4.0, 0.0, 16), hz=HZ))
        for name, bound in (
            ("between_tones", "upper"), ("multitone_distortion", "upper"),
            ("equivalent_bits", "lower"),
        ):  # fmt: skip
            assert result[name].bound == bound
            assert "the steps of the samples" in (result[name].remark or "")
        assert result["between_tones"].value > own


def test_a_line_cut_by_the_edge_of_a_tone_is_in_the_uncertainty() -> None:
    """7 bins beside a tone it may be counted or not; 30 bins beside it is."""
    t, hz = np.arange(int(RATE * 0.6)) / RATE, (109.0, 545.0, 1308.0, 3161.0, 7521.0)
    for bins, counted in ((7.2, False), (30.0, True)):
        line = 2e-4 * np.cos(2 * np.pi * (545.0 * OFF + bins / 0.6) * t)
        volts = with_noise(tones(hz) + line, 1e-5)
        result = figures(multitone_material(track(volts, RATE), hz=hz))
        found, noise = result["between_tones"], 1e-5 * math.sqrt(19_980 / 48_000)
        whole = math.hypot(noise, 2e-4 / math.sqrt(2))
        if counted:
            assert found.value == pytest.approx(whole, rel=0.01)
            assert found.uncertainty < 0.02 * found.value
        else:
            assert noise < found.value < whole
            assert found.value + 2 * found.uncertainty > whole


def test_hum_between_tones_that_a_block_does_not_tell_apart_is_no_unsteadiness() -> None:
    """100 Hz beside 109 Hz, 57 dB below it: a block of 2.5 periods takes it for the tone."""
    hz = (109.0, 218.0, 545.0, 1308.0, 3161.0, 7521.0)
    t = np.arange(int(RATE * 0.7)) / RATE
    hum = 4e-4 * np.cos(2 * np.pi * 100.2 * t)
    steady = tones(hz, seconds=0.7) + hum
    result = figures(multitone_material(track(with_noise(steady, 3e-6), RATE), hz=hz))
    assert result["tones_level"].value == pytest.approx(0.3 * math.sqrt(3), rel=1e-4)
    falling = steady * np.where(t < 0.35, 1.0, 0.98)
    found = reasons(multitone_material(track(with_noise(falling, 3e-6), RATE), hz=hz))
    assert "aren't steady" in found["tones_level"][1]


@pytest.mark.parametrize(("depth", "named"), [(0.01, True), (0.0, False)])
def test_a_level_that_flutters_is_named_in_what_is_beside_the_tones(
    depth: float, named: bool
) -> None:
    """At 14 Hz its sidebands stand beside the lobes of the tones."""
    hz = HZ[3:]
    x = tones(hz, seconds=1.0) + 1e-6
    x *= 1 + depth * np.cos(2 * np.pi * 14.0 * np.arange(len(x)) / RATE)
    found = figures(multitone_material(track(with_noise(x, 1e-5), RATE), hz=hz))
    for metric in ("sfdr", "greatest_product", "multitone_distortion"):
        assert ("level or phase of the tones" in (found[metric].remark or "")) == named
