"""Noise and overload re the level that an input is meant for; hum over the volume control."""

from __future__ import annotations

import math

import pytest

from backbench.documents.input_sorts import sort_of_input
from backbench.metrics.session import Derived, Reading, RefusedDerivation
from bench_readings import derived, one, reading, refused


def idle(volts: float, **more: object) -> Reading:
    given = {"stimulus": "idle", "frequency_hz": None, "generator_vrms": None, **more}
    return reading("noise", volts, 0.01, 0.006, **given)


def stage(gain_db: float, **more: object) -> Reading:
    return reading("gain", gain_db, 0.001, 0.0005, **more)


@pytest.mark.parametrize(
    ("name", "kind", "sort", "level"),
    [
        ("aux", "integrated amplifier", "line", 0.5),
        (None, "preamplifier", "line", 0.5),
        ("phono MM", "preamplifier", "phono", 5e-3),
        (None, "phono stage", "phono", 5e-3),
        ("MC high", "phono stage", "moving coil", 0.5e-3),
    ],
)
def test_each_sort_of_input_has_its_reference(
    name: str | None, kind: str, sort: str, level: float
) -> None:
    """Closed form: 1 µV at the input is 20 lg(level / 1 µV) below the reference."""
    assert sort_of_input(name, kind) == sort
    readings = [idle(1e-4, input=name), stage(40.0, input=name)]
    snr = one("snr_reference_input", readings, kinds={"amp": kind})
    assert snr.figure.value == pytest.approx(20 * math.log10(level / 1e-6))
    assert snr.figure.detail == {"weighting": "none"}
    assert snr.figure.uncertainty > snr.figure.estimation > 0


def test_a_microphone_input_has_no_reference_here() -> None:
    assert derived("snr_reference_input", [idle(1e-4, input="mic"), stage(40, input="mic")]) == []


def test_half_the_noise_is_6_decibels_more_and_a_bound_stays_one() -> None:
    """Property."""
    whole, half = (
        one("snr_reference_input", [idle(v), stage(40.0)]).figure.value for v in (2e-4, 1e-4)
    )
    assert half - whole == pytest.approx(20 * math.log10(2))
    below = idle(1e-4, bound="upper", status="at_floor")
    assert one("snr_reference_input", [below, stage(40.0)]).figure.bound == "lower"


def rising(inputs: list[float], percent: list[float], **more: object) -> list[Reading]:
    """Levels of a stage of gain 100, its distortion at each."""
    readings = []
    for volts, thd in zip(inputs, percent, strict=True):
        like = {"generator_vrms": volts, "analysis_key": f"{volts}", "load_ohm": None, **more}
        readings += [
            reading("level", 100 * volts, 0.002, **like), reading("gain", 40.0, 1e-4, **like),
            reading("thd_wide", thd, 0.01, **like),
        ]  # fmt: skip
    return readings


INPUTS = [0.01, 0.02, 0.04, 0.08, 0.16]
PERCENT = [0.02, 0.04, 0.08, 0.8, 12.0]


def test_overload_of_a_phono_input_is_the_greatest_input_over_its_reference() -> None:
    readings = rising(INPUTS, PERCENT, input="phono")
    volts = {d.figure.limit_percent: d for d in derived("input_at_limit", readings)}
    margins = derived("phono_overload_margin", readings)
    assert {d.figure.limit_percent for d in margins} == {0.1, 1.0, 3.0, 10.0}
    for margin in margins:
        same = volts[margin.figure.limit_percent].figure
        assert margin.figure.value == pytest.approx(20 * math.log10(same.value / 5e-3))
        relative = same.uncertainty / same.value
        assert margin.figure.uncertainty == pytest.approx(8.6859 * relative, rel=1e-4)
    one_percent = next(d for d in margins if d.figure.limit_percent == 1.0)
    # Between 80 and 160 mV: 24.1 to 30.1 dB over 5 mV.
    assert 24.1 < one_percent.figure.value < 30.1


def test_no_overload_of_a_line_input_and_a_bound_where_it_is_not_reached() -> None:
    assert derived("phono_overload_margin", rising(INPUTS, PERCENT, input="aux")) == []
    clean = derived("phono_overload_margin", rising(INPUTS, [0.02] * 5, input="phono"))
    assert {d.figure.bound for d in clean if isinstance(d, Derived)} == {"lower"}
    dirty = derived("phono_overload_margin", rising(INPUTS, [20.0] * 5, input="phono"))
    assert all(isinstance(d, RefusedDerivation) for d in dirty)
    assert dirty


def hum(volts: float, volume: str | None, **more: object) -> Reading:
    given = {"stimulus": "idle", "frequency_hz": None, "generator_vrms": None, **more}
    return reading("hum", volts, 0.02, 0.01, volume=volume, **given)


def test_hum_over_volume_is_the_greatest_over_the_least() -> None:
    three = [hum(1e-4, "min"), hum(4e-4, "half"), hum(2e-4, "full")]
    moved = one("hum_over_volume", three)
    assert moved.figure.value == pytest.approx(20 * math.log10(4))
    # One calibration: only what each record leaves unknown counts.
    assert moved.figure.uncertainty == pytest.approx(8.6859 * math.hypot(0.01, 0.01), rel=1e-4)
    assert derived("hum_over_volume", three[:1]) == []
    assert derived("hum_over_volume", [hum(1e-4, None), hum(4e-4, None)]) == []


def test_hum_below_the_floor_at_a_setting_is_a_bound() -> None:
    low = hum(1e-5, "min", bound="upper", status="at_floor")
    assert one("hum_over_volume", [low, hum(1e-4, "full")]).figure.bound == "lower"
    both = [low, hum(2e-5, "full", bound="upper", status="at_floor")]
    assert "known to be at most" in refused("hum_over_volume", both).reason
