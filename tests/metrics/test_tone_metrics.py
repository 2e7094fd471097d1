"""Figures of a tone capture: definitions, conditions and uncertainties."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backbench.documents.manifest import Conditions
from tones import figures, reasons, sines, tone_material, track

RATE = 96_000.0
LOADED = Conditions(load_ohm=8.0)
DISTORTION = {"thd", "thd_total", "thd_wide", "thd_n", "sinad", "snr", "harmonic"}


def noisy(peaks: dict[float, float], rms: float = 1e-5, seed: int = 1, **kept: float) -> np.ndarray:
    volts = sines(RATE, 1.0, peaks, **kept)
    return volts + np.random.default_rng(seed).normal(0, rms, len(volts))


def test_level_power_and_dc() -> None:
    result = figures(tone_material(track(noisy({1000.0: 4.0}) - 0.02, RATE), conditions=LOADED))
    assert result["level"].value == pytest.approx(4 / math.sqrt(2), rel=1e-6)
    assert result["output_power"].value == pytest.approx(1.0, rel=1e-6)
    assert result["dc_offset"].value == pytest.approx(-0.02, abs=1e-6)


def test_noise_beside_the_tone() -> None:
    """White noise of 1 mV rms over 48 kHz: 20 Hz to 20 kHz holds 19 980 / 48 000 of its power."""
    result = figures(tone_material(track(noisy({1000.0: 2.0}, 1e-3), RATE)))
    noise, tone = 1e-6 * 19_980 / 48_000, 2.0
    assert result["snr"].value == pytest.approx(10 * math.log10(tone / noise), abs=0.2)
    expected = 10 * math.log10((tone + noise) / noise)
    assert result["sinad"].value == pytest.approx(expected, abs=0.2)
    assert result["thd_n"].value == pytest.approx(100 * 10 ** (-result["sinad"].value / 20))


def test_sum_of_noise_and_harmonics() -> None:
    result = figures(tone_material(track(noisy({1000.0: 1.0, 3000.0: 1e-3}, 1e-3), RATE)))
    noise = 10 ** (-result["snr"].value / 10)
    both = math.sqrt(noise + (result["thd"].value / 100) ** 2)
    assert result["thd_n"].value / 100 == pytest.approx(both / math.hypot(1, both), rel=5e-3)


def test_gain_and_polarity_against_a_recorded_generator() -> None:
    generator = track(noisy({1000.0: 0.1}, seed=2), RATE, calibration=0.003)
    output = track(-10 * noisy({1000.0: 0.1}, seed=3), RATE, calibration=0.004)
    result = figures(tone_material(output, generator=generator, conditions=LOADED))
    assert result["gain"].value == pytest.approx(20.0, abs=1e-4)
    # Two calibrations, independent of each other.
    assert result["gain"].uncertainty == pytest.approx(8.6859 * 0.005, rel=1e-3)
    assert result["polarity"].value == -1


def test_gain_against_a_stated_generator() -> None:
    output = track(noisy({1000.0: math.sqrt(2)}), RATE, calibration=0.004)
    result = figures(tone_material(output, generator_vrms=0.1, generator_uncertainty=0.003))
    assert result["gain"].value == pytest.approx(20.0, abs=1e-4)
    assert result["gain"].uncertainty == pytest.approx(8.6859 * 0.005, rel=1e-3)
    assert result["gain"].estimation < 1e-3


def test_uncertainty_of_power_holds_calibration_twice_and_the_load_once() -> None:
    output = track(noisy({1000.0: 4.0}), RATE, calibration=0.004)
    result = figures(tone_material(output, conditions=LOADED, load_uncertainty=0.006))
    assert result["output_power"].uncertainty == pytest.approx(0.01, rel=1e-3)
    assert result["level"].uncertainty == pytest.approx(0.004 * 2.828427, rel=1e-3)


def test_ratios_do_not_depend_on_the_calibration() -> None:
    volts = noisy({1000.0: 4.0, 2000.0: 1e-2})
    sure = figures(tone_material(track(volts, RATE)))
    unsure = figures(tone_material(track(volts, RATE, calibration=0.1)))
    for name in ("thd", "thd_total", "thd_wide", "thd_n", "sinad", "snr", "harmonic 2"):
        assert unsure[name] == sure[name]


def test_absent_conditions_are_reasons_not_numbers() -> None:
    message = reasons(tone_material(track(noisy({1000.0: 1.0}), RATE)))
    assert message["output_power"] == ("not_applicable", "no resistor was connected as a load")
    assert message["gain"][0] == "not_applicable"
    assert message["polarity"] == ("not_applicable", "no track recorded the generator")
    opened = tone_material(
        track(noisy({1000.0: 1.0}), RATE), conditions=Conditions(load_ohm="open")
    )
    assert "output_power" in reasons(opened)


def test_a_quarter_turn_is_neither_polarity() -> None:
    output = track(noisy({1000.0: 1.0}, phase=0.3 + math.pi / 2), RATE)
    generator = track(noisy({1000.0: 1.0}, phase=0.3), RATE)
    message = reasons(tone_material(output, generator=generator))
    assert message["polarity"][0] == "rejected"
    assert "90 °" in message["polarity"][1]


def test_harmonics_in_the_noise_are_upper_bounds() -> None:
    result = figures(tone_material(track(noisy({1000.0: 1.0, 2000.0: 1e-3}, 1e-4), RATE)))
    assert result["harmonic 2"].bound is None
    for order in (3, 4, 5, 6, 7, 8, 9, 10):
        figure = result[f"harmonic {order}"]
        assert figure.bound == "upper"
        assert -115 < figure.value < -105
    pure = figures(tone_material(track(noisy({1000.0: 1.0}, 1e-4), RATE)))
    assert pure["thd"].bound == "upper"


def test_a_mains_line_that_may_hide_in_a_harmonic_widens_it() -> None:
    """Strong multiples of 50 Hz all round 2 kHz, the 40th of them on the second harmonic."""
    peaks = {1000.0: 1.0, 2000.0: 1e-3, 1950.0: 3e-4, 2050.0: 3e-4}
    hummed = track(noisy(peaks, 1e-6), RATE)
    at_50 = figures(tone_material(hummed, mains_hz=50.0))["harmonic 2"]
    at_60 = figures(tone_material(hummed, mains_hz=60.0))["harmonic 2"]
    confirmed = track(noisy({**peaks, 180.0: 1e-3}, 1e-6), RATE)
    assert figures(tone_material(confirmed, mains_hz=60.0))["harmonic 2"].uncertainty < 0.05
    # Where no line tells that it was 60 Hz, it may have been 50 Hz.
    assert at_60.uncertainty == pytest.approx(at_50.uncertainty, rel=0.1)
    assert "60 Hz or 50 Hz mains" in (at_60.remark or "")
    # A line of up to twice the power of 3e-4 beside 1e-3, in unknown phase: 0.3 of the amplitude.
    assert at_50.uncertainty == pytest.approx(8.6859 * 0.3, rel=0.1)


def test_harmonics_outside_the_record_are_reported() -> None:
    peaks = {10_000.0: 1.0, 20_000.0: 1e-2}
    result = figures(tone_material(track(noisy(peaks), RATE), hz=10_000.0))
    assert result["thd"].value == pytest.approx(1.0, rel=1e-3)
    assert result["thd"].detail == {"harmonics": "2 to 4"}
    message = reasons(tone_material(track(noisy({20_000.0: 1.0}), RATE), hz=20_000.0))
    assert message["thd"][0] == message["thd_wide"][0] == "not_applicable"


def undriven(volts: np.ndarray, **kept: float) -> dict[str, object]:
    driven = track(noisy({1003.0: 4.0}), RATE, **kept)
    capture_data = tone_material(driven, track(volts, RATE, **kept), driven_track=1)
    return {"figures": figures(capture_data, 2), "reasons": reasons(capture_data, 2)}


def test_an_undriven_output_has_a_selective_level_only() -> None:
    hum = {1003.0: 4e-4, 50.0: 1e-1, 150.0: 1e-2}
    read = undriven(noisy(hum, 1e-4))
    assert read["figures"]["level"].value == pytest.approx(4e-4 / math.sqrt(2), rel=1e-2)
    assert read["figures"]["level"].bound is None
    assert set(read["reasons"]) >= DISTORTION | {"gain", "output_power", "polarity"}
    assert all(status == "not_applicable" for status, _ in read["reasons"].values())


def test_an_undriven_output_without_the_tone_has_a_bound() -> None:
    level = undriven(noisy({50.0: 1e-1}, 1e-3))["figures"]["level"]
    assert level.bound == "upper"
    assert 1e-6 < level.value < 5e-5


def test_a_record_at_a_rate_below_the_band_is_refused() -> None:
    slow = track(sines(32_000.0, 1.0, {1000.0: 1.0}) + 1e-3, 32_000.0)
    message = reasons(tone_material(slow))
    assert message["thd_n"][0] == "rejected"
    assert "32 kHz" in message["thd_n"][1]


def test_an_unfit_record_gives_no_figure_at_all() -> None:
    clipped = tone_material(track(np.clip(noisy({1000.0: 20.0}), -10, 10), RATE))
    assert figures(clipped) == {}
    assert {status for status, _ in reasons(clipped).values()} == {"rejected"}


def test_a_bound_on_distortion_is_never_above_distortion_and_noise() -> None:
    """Hum of 50 Hz and its multiples hides the harmonics of 20 Hz at 100 and 200 Hz."""
    hum = {50.0: 1e-3, 150.0: 5e-4, 250.0: 3e-4}
    result = figures(tone_material(track(noisy({20.0: 1.0, **hum}), RATE), hz=20.0))
    assert result["thd"].bound == "upper"
    assert result["thd"].value <= result["thd_n"].value * 1.0001
    assert result["thd_wide"].value <= result["thd_n"].value * 1.0001


@pytest.mark.parametrize(
    ("stated", "refused"), [(1.0, False), (1.5, False), (1.9, True), (5.0, True), (0.2, True)]
)
def test_a_stated_power_that_level_and_load_contradict_is_refused(
    stated: float, refused: bool
) -> None:
    """4 V peak across 8 ohm is 1 W by Ohm's law."""
    meant = Conditions(load_ohm=8.0, power_w=stated)
    capture_data = tone_material(track(noisy({1000.0: 4.0}), RATE), conditions=meant)
    if refused:
        status, reason = reasons(capture_data)["level"]
        assert status == "rejected"
        assert "W is stated" in reason
    else:
        assert figures(capture_data)["output_power"].value == pytest.approx(1.0, rel=1e-6)
