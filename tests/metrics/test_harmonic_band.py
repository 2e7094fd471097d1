"""Figures of distortion name the band that they hold, and are none where it lacks the lowest."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate

from backbench.signal.tone import EDGE, PASS_BAND
from bench_readings import derived, reading
from tones import figures, reasons, sines, tone_material, track


def played(hz: float, rate: float, peaks: dict[int, float]) -> np.ndarray:
    """Harmonics by order as a converter keeps them: nothing above its pass band."""
    kept = {n * hz: peak for n, peak in peaks.items() if n * hz <= PASS_BAND * rate * EDGE}
    volts = sines(rate, 1.0, kept)
    return volts + np.random.default_rng(3).normal(0, 1e-6, len(volts))


def clipped_harmonic(order: int, share: float) -> float:
    """Peak of a harmonic of a unit cosine that is limited at a share of its peak, by quadrature."""

    def wave(x: float) -> float:
        return max(-share, min(share, math.cos(x))) * math.cos(order * x)

    edge = math.acos(share)
    points = [edge, math.pi - edge]
    result, _ = integrate.quad(wave, 0, math.pi, points=points)
    return 2 / math.pi * result


CLIPPED = {n: clipped_harmonic(n, 0.8) for n in (1, 3, 5, 7, 9)}


def test_no_distortion_at_20_khz_from_96_khz() -> None:
    """The third harmonic of a limited sine lies at 60 kHz: the record can't know of it."""
    capture = tone_material(track(played(20_000.0, 96_000.0, CLIPPED), 96_000.0), hz=20_000.0)
    message = reasons(capture)
    for name in ("thd", "thd_total", "thd_wide", "even_harmonics", "odd_harmonics"):
        assert message[name][0] == "not_applicable"
        assert "third harmonic" in message[name][1]
    assert "record at 132.3 kHz or more" in message["thd"][1]
    assert figures(capture)["harmonic 2"].bound == "upper"


def test_distortion_at_20_khz_from_192_khz_states_its_harmonics() -> None:
    """Independent reference: the harmonics of a limited sine by numerical quadrature."""
    capture = tone_material(track(played(20_000.0, 192_000.0, CLIPPED), 192_000.0), hz=20_000.0)
    result = figures(capture)["thd"]
    assert result.detail == {"harmonics": "2 to 4"}
    assert result.value == pytest.approx(100 * abs(CLIPPED[3] / CLIPPED[1]), rel=1e-3)
    assert "thd_wide" not in figures(capture)


@settings(max_examples=15, deadline=None)
@given(hz=st.floats(500, 20_000), rate=st.sampled_from([48_000.0, 96_000.0, 192_000.0]))
def test_a_figure_is_given_only_with_the_third_harmonic_in_band(hz: float, rate: float) -> None:
    capture = tone_material(track(played(hz, rate, CLIPPED), rate), hz=hz)
    result = figures(capture)
    assert ("thd" in result) == (3 * hz <= PASS_BAND * rate * EDGE)
    assert ("thd_wide" in result) == (3 * hz <= 20_000 * EDGE)
    if "thd" in result:
        assert result["thd"].value >= 100 * abs(CLIPPED[3] / CLIPPED[1]) * 0.99


@pytest.mark.parametrize(("hz", "which"), [(5000.0, None), (7000.0, "third"), (15_000.0, "second")])
def test_residuals_say_which_harmonics_they_lack(hz: float, which: str | None) -> None:
    result = figures(tone_material(track(played(hz, 96_000.0, {1: 1.0, 2: 1e-2}), 96_000.0), hz=hz))
    for name in ("thd_n", "thd_n_notch", "sinad", "equivalent_bits"):
        printed = result[name].remark or ""
        assert (f"from the {which} harmonic on lie above 20 kHz" in printed) == (which is not None)


def test_a_record_that_ends_below_20_khz_gives_no_distortion_to_20_khz() -> None:
    message = reasons(tone_material(track(played(997.0, 32_000.0, {1: 1.0}), 32_000.0), hz=997.0))
    assert "ends at 14.5 kHz, short of 20 kHz" in message["thd_wide"][1]


def levels(powers: list[float], percents: list[float | None], **more: object) -> list[object]:
    """Tones at 10 kHz; None where no distortion could be given."""
    result = []
    for watts, percent in zip(powers, percents, strict=True):
        same = {"frequency_hz": 10_000.0, "power_w": watts, "analysis_key": f"{watts}", **more}
        same.pop("detail", None)
        result.append(reading("output_power", watts, 1e-3, 1e-3, **same))
        if percent is not None:
            detail = more.get("detail", {})
            result.append(reading("thd", percent, 1e-3, 1e-3, **same, detail=detail))
    return result


def test_no_power_at_a_limit_where_no_distortion_is_known() -> None:
    given = levels([5.0, 10.0, 15.0, 25.0], [None] * 4)
    result = derived("power_at_limit", given)
    assert len(result) == 4
    assert all("no distortion could be given" in r.reason for r in result)


def test_a_power_at_a_limit_names_the_harmonics_it_rests_on() -> None:
    narrow = {"detail": {"harmonics": "2 to 4"}}
    given = levels([5.0, 10.0, 15.0, 25.0], [0.05, 0.06, 0.08, 12.0], **narrow)
    result = derived("power_at_limit", given)
    details = {tuple(sorted(r.figure.detail.items())) for r in result if hasattr(r, "figure")}
    assert details == {(("distortion", "thd"), ("harmonics", "2 to 4"))}


def test_levels_of_different_bands_make_no_one_curve() -> None:
    few = levels([5.0, 10.0], [0.05, 0.06], detail={"harmonics": "2 to 4"})
    assert derived("power_at_limit", [*few, *levels([15.0, 25.0], [0.08, 12.0])]) == []
