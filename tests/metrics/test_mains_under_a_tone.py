"""Mains lines that lie under a tone's harmonics, and a mains frequency that is stated wrongly."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.signal.hidden_hum import UNSEEN_FACTOR
from backbench.signal.power import MeanSquare
from many_tones import pair_material, with_noise
from tones import figures, idle_material, reasons, sines, tone_material, track

RATE = 48_000.0
RIPPLE = {100.0 * n: 2e-3 / n**0.5 for n in range(1, 60)}
"""What a full-wave rectifier on 50 Hz mains leaves: every second multiple."""


def record(peaks: dict[float, float], seconds: float = 2.0, seed: int = 1) -> np.ndarray:
    volts = sines(RATE, seconds, peaks)
    return volts + np.random.default_rng(seed).normal(0, 1e-5, len(volts))


def test_rectifier_ripple_under_every_harmonic_of_1_khz() -> None:
    """The true distortion is 0.02 %; what ripple may add is in the interval or in the bound."""
    tone = sines(RATE, 2.0, {1000.0: 1.0, 2000.0: 2e-4})
    result = figures(tone_material(track(tone + record(RIPPLE)), mains_hz=50.0))["thd"]
    assert result.bound == "upper"
    assert result.value > 0.02
    assert "50 Hz mains may lie under harmonics 2, 3, 4" in (result.remark or "")
    assert "play 997 Hz" in (result.remark or "")


def test_ripple_far_below_the_harmonics_leaves_them_measured() -> None:
    tone = sines(RATE, 2.0, {1000.0: 1.0, 2000.0: 3e-2})
    result = figures(tone_material(track(tone + record(RIPPLE)), mains_hz=50.0))["thd"]
    assert result.bound is None
    assert abs(result.value - 3.0) < 2 * result.uncertainty


def test_a_tone_clear_of_the_mains_reads_the_same_with_and_without_ripple() -> None:
    tone = sines(RATE, 2.0, {997.0: 1.0, 1994.0: 2e-3})
    result = figures(tone_material(track(tone + record(RIPPLE)), hz=997.0, mains_hz=50.0))["thd"]
    assert result.bound is None
    assert result.value == pytest.approx(0.2, rel=0.02)


@pytest.mark.parametrize(
    ("mains", "orders"), [(60.0, "2, 3, 4, 5, 6, 7, 9"), (50.0, "4, 5, 6, 10")]
)
def test_20_hz_has_mains_lines_as_harmonics(mains: float, orders: str) -> None:
    hum = {mains * n: 1e-3 / n for n in range(1, 9)}
    volts = record({20.0: 1.0, 40.0: 1e-4} | hum, seconds=4.0)
    result = figures(tone_material(track(volts), hz=20.0, mains_hz=mains))["thd"]
    assert result.bound == "upper"
    assert f"under harmonics {orders} of 20 Hz (play 23 Hz" in (result.remark or "")


def test_23_hz_is_clear_of_both_mains_systems() -> None:
    for mains in (50.0, 60.0):
        hum = {mains * n: 1e-3 / n for n in range(1, 9)}
        volts = record({23.0: 1.0, 46.0: 1e-3} | hum, seconds=6.0)
        result = figures(tone_material(track(volts), hz=23.0, mains_hz=mains))["thd"]
        assert result.bound is None
        assert result.value == pytest.approx(0.1, rel=0.03)


def test_the_bound_from_nothing_but_the_harmonic_is_what_it_is_meant_to_be() -> None:
    """A harmonic and a line within 3.5 dB of it, in any phase, by simulation."""
    seen = MeanSquare(1.0, UNSEEN_FACTOR**2, 2 * UNSEEN_FACTOR)
    assert not seen.stands_out
    assert seen.at_most == pytest.approx(7.84, abs=0.01)
    rng = np.random.default_rng(3)
    lines = 10 ** (rng.uniform(-3.5, 3.5, 100_000) / 20)
    left = np.abs(1 + lines * np.exp(2j * np.pi * rng.random(100_000)))
    assert np.mean(seen.at_most * left < 1) < 0.0105


@pytest.mark.parametrize(("line_v", "told"), [(3e-5, True), (3e-3, True), (3e-2, False)])
def test_a_weak_harmonic_on_a_line_of_the_other_mains_is_doubtful(
    line_v: float, told: bool
) -> None:
    """The third of 20 Hz is 60 Hz, where 50 Hz was stated and no line tells."""
    volts = sines(48_000.0, 0.9, {20.0: 1.0, 40.0: 1e-2, 60.0: line_v})
    result = figures(tone_material(track(with_noise(volts)), hz=20.0, mains_hz=50.0))
    doubt = "were it 60 Hz, harmonic 3 may be one of its lines"
    assert (doubt in (result["harmonic 3"].remark or "")) == told
    assert "were it 60 Hz" not in (result["harmonic 2"].remark or "")
    if line_v < 1e-3:
        assert doubt not in (result["thd"].remark or ""), "of the sum it is a thousandth"


def test_a_sum_that_a_line_of_the_other_mains_may_make_says_so() -> None:
    """Lines at 100, 200, 300 and 400 Hz where 60 Hz was stated; 200 Hz is near 9 times 22.3 Hz."""
    hum = {100.06 * n: 7e-4 * n**-1.9 for n in range(1, 5)}
    volts = sines(44_100.0, 0.93, {22.3: 1.0, 44.6: 1e-5} | hum)
    result = figures(tone_material(track(with_noise(volts), 44_100.0), hz=22.3, mains_hz=60.0))
    assert "were it 50 Hz, harmonic 9 may be one of its lines" in (result["thd"].remark or "")
    # Closed form of the signal-to-noise ratio: of the lines one was taken out of the noise.
    true = -10 * math.log10(sum(line**2 for line in hum.values()))
    assert abs(result["snr"].value - true) < 2 * result["snr"].uncertainty < 0.5


def test_a_sideband_below_zero_counts_where_it_shows() -> None:
    """Twice 60 Hz less 20 Hz is the fifth of 20 Hz."""
    volts = record({20.0: 1.0, 100.0: 5e-3, 140.0: 5e-3}, seconds=4.0)
    result = figures(tone_material(track(volts), hz=20.0, mains_hz=60.0))["harmonic 5"]
    assert result.bound == "upper"
    assert "harmonics 5 of 20 Hz" in (result.remark or "")


def test_sidebands_of_the_supply_under_modulation_products_are_bounds() -> None:
    """60 Hz mains modulates 7 kHz by 0.1 %; the pair 60 Hz and 7 kHz has its products there."""
    pair = sines(96_000.0, 1.0, {60.0: 0.8, 7000.0: 0.2, 6940.0: 1e-4, 7060.0: 1e-4})
    record = track(with_noise(pair), 96_000.0)
    held = pair_material(record, hz=(60.0, 7000.0), ratio=4.0, mains_hz=60.0)
    result = figures(held)["modulation_distortion_2"]
    assert result.bound == "upper"
    assert "60 Hz mains" in (result.remark or "")
    clear = figures(pair_material(record, hz=(60.0, 7000.0), ratio=4.0, mains_hz=50.0))
    assert clear["modulation_distortion_2"].bound is None


def test_a_pair_clear_of_the_mains_stays_measured() -> None:
    hum = {60.0 * n: 1e-3 / n for n in range(1, 8)}
    pair = {70.0: 0.8, 7000.0: 0.2, 6930.0: 1e-4, 7070.0: 1e-4, 6940.0: 5e-4, 7060.0: 5e-4}
    record = track(with_noise(sines(96_000.0, 2.0, pair | hum)), 96_000.0)
    held = pair_material(record, hz=(70.0, 7000.0), ratio=4.0, mains_hz=60.0)
    result = figures(held)["modulation_distortion_2"]
    assert result.bound is None
    assert abs(result.value - 0.1) <= 2 * result.uncertainty


def test_a_pair_on_wrongly_stated_mains_is_refused() -> None:
    hum = {60.0 * n: 1e-3 / n for n in range(1, 8)}
    pair = {250.0: 0.8, 8000.0: 0.2, 7750.0: 1e-4}
    record = track(with_noise(sines(96_000.0, 4.0, pair | hum)), 96_000.0)
    held = pair_material(record, hz=(250.0, 8000.0), ratio=4.0, mains_hz=50.0)
    status, reason = reasons(held)["modulation_distortion_2"]
    assert status == "rejected"
    assert "60 Hz" in reason


def test_ripple_alone_tells_that_the_mains_is_stated_wrongly() -> None:
    volts = record({100.0: 1e-3, 200.0: 1e-4})
    status, reason = reasons(idle_material(track(volts), mains_hz=60.0))["hum"]
    assert status == "rejected"
    assert "50 Hz" in reason


def test_a_line_under_the_fundamental_is_in_its_uncertainty_and_in_the_noise() -> None:
    """997 Hz in 0.4 s: 1 kHz lies in its lobe, and ripple at 900 and 1100 Hz tells how strong."""
    ripple = {100.0 * n: 2e-3 for n in range(1, 60)}
    scores = []
    for seed in range(12):
        volts = sines(RATE, 0.4, {997.0: 1.0} | ripple, phase=0.3 + seed)
        volts = volts + np.random.default_rng(seed).normal(0, 1e-5, len(volts))
        result = figures(tone_material(track(volts), hz=997.0, mains_hz=50.0))["level"]
        scores.append(abs(result.value - 1 / math.sqrt(2)) / result.uncertainty)
    assert max(scores) <= 2


@settings(max_examples=25, deadline=None)
@given(
    phase=st.floats(0, 2 * math.pi), ratio=st.floats(0.1, 10.0), order=st.sampled_from([3, 6, 9])
)
def test_bounds_lie_on_the_right_side(phase: float, ratio: float, order: int) -> None:
    """But for phases within a twentieth of the circle about a cancelling of both."""
    if abs(math.remainder(phase - math.pi, 2 * math.pi)) < 0.05 * math.pi:
        return
    t = np.arange(int(4 * RATE)) / RATE
    line = 1e-3 * np.cos(2 * np.pi * 20 * order * t)
    hum = ratio * 1e-3 * np.cos(2 * np.pi * 20 * order * t + phase)
    volts = record({20.0: 1.0}, seconds=4.0) + line + hum
    result = figures(tone_material(track(volts), hz=20.0, mains_hz=60.0))
    assert result[f"harmonic {order}"].bound == "upper"
    assert result[f"harmonic {order}"].value >= -60.0
    assert result["thd"].value >= 0.1


def test_noise_keeps_the_lines_under_harmonics() -> None:
    """Ripple under harmonics of 1 kHz counts in the signal-to-noise ratio; 997 Hz tells it."""
    strong = {100.0 * n: 2e-3 for n in range(1, 60)}
    under = {1000.0 * n: 2e-2 for n in range(2, 6)}
    clear = {997.0 * n: 2e-2 for n in range(2, 6)}
    at_1k = figures(tone_material(track(record({1000.0: 1.0}) + record(under | strong))))["snr"]
    volts = record({997.0: 1.0} | clear) + record(strong)
    at_997 = figures(tone_material(track(volts), hz=997.0))["snr"]
    assert at_1k.value == pytest.approx(at_997.value, abs=0.15)


def test_noise_is_a_bound_where_a_harmonic_may_be_hum() -> None:
    volts = record({20.0: 1.0, 60.0: 1e-2}, seconds=4.0)
    result = figures(tone_material(track(volts), hz=20.0, mains_hz=60.0))["snr"]
    assert result.bound == "lower"
    assert result.value < 41


def test_a_wrong_mains_frequency_is_found() -> None:
    hum = {60.0 * n: 1e-3 / n for n in range(1, 9)}
    message = reasons(tone_material(track(record({997.0: 1.0} | hum)), hz=997.0, mains_hz=50.0))
    printed = (
        "mains_hz is stated as 50, but the record shows lines of 60 Hz mains and none of 50 Hz"
    )
    for name in ("thd", "thd_wide", "harmonic"):
        assert printed in message[name][1]
    idle = reasons(idle_material(track(record(hum)), mains_hz=50.0))
    assert printed in idle["mains_line"][1]
    assert "mains_line" not in reasons(idle_material(track(record(hum)), mains_hz=60.0))


def test_two_strong_lines_beside_a_tone_tell_another_mains_frequency() -> None:
    """120 and 240 Hz, 70 dB above the noise, where 50 Hz is stated; a single line may be any."""
    for hum, refused in (({120.0: 1e-3, 240.0: 5e-4}, True), ({120.0: 1e-3}, False)):
        volts = record({997.0: 1.0, 1994.0: 1e-3} | hum)
        message = reasons(tone_material(track(volts), hz=997.0, mains_hz=50.0))
        assert ("thd" in message) == refused


def test_lines_of_both_frequencies_or_of_neither_refuse_nothing() -> None:
    both = {f * n: 1e-3 for n in range(1, 9) for f in (50.0, 60.0)}
    assert "mains_line 1" in figures(idle_material(track(record(both)), mains_hz=50.0))
    assert "mains_line 1" in figures(idle_material(track(record({997.0: 1e-3})), mains_hz=50.0))


def test_a_beat_with_a_mains_line_is_in_the_uncertainty_of_a_residual() -> None:
    """The residual is that of both lines, whatever their phases make of them in this record."""
    scores = []
    for phase in np.linspace(0, 2 * np.pi, 12, endpoint=False):
        t = np.arange(int(RATE)) / RATE
        volts = record({315.0: 1.0, 945.0: 1e-3, 840.0: 2e-4, 1080.0: 2e-4}, 1.0)
        volts += 2e-4 * np.cos(2 * np.pi * 960.0 * t + phase)
        volts += 1e-3 * (
            np.cos(2 * np.pi * 1260.0 * t) + 0.2 * np.cos(2 * np.pi * 1260 * t + phase)
        )
        result = figures(tone_material(track(volts), hz=315.0, mains_hz=60.0))["thd_n"]
        whole = 100 * math.sqrt(2e-6 + 4 * 4e-8)
        assert result.bound is None
        scores.append((result.value - whole) / result.uncertainty)
    assert np.max(np.abs(scores)) < 2
    assert np.std(scores) > 0.3


def test_a_sideband_in_the_lobe_of_a_harmonic_stays_in_the_noise() -> None:
    """37.7 Hz beside the second harmonic of 22.3 Hz, as the supply modulates the tone."""
    volts = record({22.3: 1.0, 44.6: 1e-2, 37.7: 2e-3, 82.3: 2e-3}, 1.0)
    result = figures(tone_material(track(volts), hz=22.3, mains_hz=60.0))["snr"]
    truth = -10 * math.log10(2 * 2e-3**2)
    assert result.bound is None
    assert abs(result.value - truth) < 2 * max(result.uncertainty, 0.05)
    assert result.value < truth + 0.5


def test_two_weak_lines_of_another_frequency_are_found_in_a_short_record() -> None:
    """Ripple of 60 Hz mains: 120 Hz lies 20 Hz from the nearest line of 50 Hz mains."""
    volts = record({120.0: 3e-4, 240.0: 8e-5}, seconds=1.0)
    status, reason = reasons(idle_material(track(volts), mains_hz=50.0))["hum"]
    assert (status, "60 Hz" in reason) == ("rejected", True)


@pytest.mark.parametrize("stated", [50.0, 60.0])
@pytest.mark.parametrize("seed", range(8))
def test_bounds_on_hum_hold_for_both_frequencies_where_no_line_shows_which(
    stated: float, seed: int
) -> None:
    """Lines of 60 Hz mains at the level of the noise; white noise of 1 uV/root Hz."""
    peak = 2e-6
    noise = np.random.default_rng(seed).normal(0, 1e-6 * math.sqrt(RATE / 2), int(RATE))
    volts = sines(RATE, 1.0, {60.0: peak, 180.0: peak}) + noise
    given = idle_material(track(volts), mains_hz=stated)
    result = figures(given)
    for multiple in (1, 3):
        assert result[f"mains_line {multiple}"].bound == "upper"
        assert result[f"mains_line {multiple}"].value > peak / math.sqrt(2)
    assert result["hum"].value > peak


def test_noise_alone_is_hardly_ever_measured_as_a_line() -> None:
    """300 lines that aren't there: one that noise reaches once in 8000 times may be among them."""
    measured = 0
    for seed in range(30):
        noise = np.random.default_rng(seed).normal(0, 1e-4, int(RATE))
        result = figures(idle_material(track(noise), mains_hz=50.0))
        measured += sum(result[f"mains_line {n}"].bound is None for n in range(1, 11))
    assert measured <= 1


def test_the_level_of_a_low_tone_whose_lobe_holds_a_mains_line_reckons_with_it() -> None:
    """60 Hz beside 63.7 Hz in 0.4 s: their sum depends on the angle between them."""
    for angle in np.linspace(0, 2 * np.pi, 7):
        t = np.arange(int(RATE * 0.4)) / RATE
        hum = sum(2e-3 / n * np.cos(2 * np.pi * 60.07 * n * t + n * angle) for n in range(1, 6))
        volts = (
            np.cos(2 * np.pi * 63.7 * t) + hum + np.random.default_rng(1).normal(0, 1e-5, len(t))
        )
        result = figures(tone_material(track(volts), hz=63.7, mains_hz=60.0))
        level, rest = result["level"], 100 * 2e-3 * math.sqrt(1.4636)
        assert abs(level.value - 1 / math.sqrt(2)) < 2.5 * level.uncertainty
        assert level.uncertainty < 0.01 * level.value
        assert result["thd_n"].bound == "upper"
        assert rest < result["thd_n"].value < 4 * rest
        assert result["snr"].bound == "lower"
        assert "of the 60 Hz mains may lie under 63.7 Hz" in (result["thd_n"].remark or "")


def test_a_sideband_below_0_hz_comes_to_lie_under_a_tone_near_the_mains() -> None:
    """60 Hz modulated by 119.7 Hz: the lower sideband shows at 59.7 Hz."""
    t = np.arange(int(RATE * 0.9)) / RATE
    for angle in (0.0, 1.5, 3.0, 4.5):
        gain = 1 + 1e-3 * np.cos(2 * np.pi * 119.7 * t + angle)
        volts = gain * np.cos(2 * np.pi * 60.0 * t)
        volts += np.random.default_rng(2).normal(0, 1e-6, len(t))
        level = figures(tone_material(track(volts), hz=60.0, mains_hz=60.0))["level"]
        assert abs(level.value - 1 / math.sqrt(2)) < 2.5 * level.uncertainty
        assert level.uncertainty < 3e-3


def test_both_of_two_tones_reckon_with_a_mains_line_under_the_lower_one() -> None:
    t = np.arange(int(96_000 * 0.7)) / 96_000
    for angle in (0.0, 1.5, 3.0, 4.5):
        hum = 5e-4 * np.cos(2 * np.pi * 59.8 * t + angle) + 2e-4 * np.cos(2 * np.pi * 179.4 * t)
        pair = 0.8 * np.cos(2 * np.pi * 61.0 * t) + 0.2 * np.cos(2 * np.pi * 7003.0 * t)
        given_ = pair_material(
            track(with_noise(pair + hum), 96_000.0), hz=(61.0, 7003.0), ratio=4.0, mains_hz=60.0
        )
        level = figures(given_)["tones_level"]
        assert abs(level.value - math.sqrt(0.34)) < 2.5 * level.uncertainty
        assert level.uncertainty < 2e-3


@pytest.mark.parametrize(("stated", "hum", "named"), [
    (50.0, {}, True), (50.0, {50.0: 1e-3, 150.0: 5e-4}, False), (60.0, {}, False),
])  # fmt: skip
def test_a_tone_on_the_other_mains_says_that_no_line_tells(
    stated: float, hum: dict[float, float], named: bool
) -> None:
    """Its harmonics may be that mains' lines altogether, clear of those of the stated one."""
    tone = {60.0: 1.0, 240.0: 4e-3, 360.0: 2e-3}
    result = figures(tone_material(track(record(tone | hum)), hz=60.0, mains_hz=stated))
    for name in ("thd", "thd_n", "snr"):
        assert ("no line tells that the mains" in (result[name].remark or "")) is named, name


def test_a_first_mains_line_in_the_lobe_of_a_tone_is_bounded() -> None:
    """50 Hz beside 60 Hz in half a second, far stronger than the lines around: a stray field."""
    hum = {50.0: 4e-3, 100.0: 1.5e-3, 150.0: 1.5e-3, 200.0: 7e-4}
    volts = record({60.0: 1.0} | hum, seconds=0.55)
    result = figures(tone_material(track(volts), hz=60.0, mains_hz=50.0))
    true = 100 * math.sqrt(sum(v**2 for v in hum.values()) / (1 + sum(v**2 for v in hum.values())))
    assert result["thd_n"].bound == "upper"
    assert result["thd_n"].value > true
    assert "may lie under 60 Hz" in (result["thd_n"].remark or "")


@pytest.mark.parametrize("turn", [0.0, 1.0, 2.0])
def test_mains_lines_in_the_lobes_of_harmonics_stay_in_the_noise(turn: float) -> None:
    """63.7 Hz in 0.79 s: some of its harmonics are within a lobe of lines of rectifier buzz."""
    rate = 96_000.0
    t = np.arange(int(rate * 0.7887)) / rate
    buzz = {100.0 * n: 6e-4 / (1 + (n / 10) ** 2) for n in range(1, 80)}
    volts = np.cos(2 * np.pi * 63.72 * t)
    volts += sum(v * np.cos(2 * np.pi * hz * t + turn * hz) for hz, v in buzz.items())
    volts += np.random.default_rng(2).normal(0, 1e-5, len(t))
    found = figures(tone_material(track(volts, rate), hz=63.7, mains_hz=50.0))["snr"]
    true = -10 * math.log10(sum(v**2 for v in buzz.values()))
    assert found.bound is None
    assert found.value == pytest.approx(true, abs=0.05)


@pytest.mark.parametrize("turn", [0.0, 0.8, 1.6, 2.4])
def test_a_sideband_mirrored_into_a_low_tone_is_in_its_level(turn: float) -> None:
    """22.3 Hz modulated by 50 Hz mains has a sideband at 27.7 Hz, within its lobe."""
    t = np.arange(int(RATE * 0.96)) / RATE
    volts = (1 + 8e-3 * np.cos(2 * np.pi * 50.0 * t)) * np.cos(2 * np.pi * 22.3 * t + turn)
    volts += np.random.default_rng(2).normal(0, 1e-5, len(t))
    found = figures(tone_material(track(volts), hz=22.3, mains_hz=50.0))["level"]
    assert abs(found.value - math.sqrt(0.5)) < 2.5 * found.uncertainty
