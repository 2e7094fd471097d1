"""Channel balance and separation across captures."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backbench.metrics.session import Derived, Reading
from bench_readings import derived, one, reading, refused

VOLTS = st.floats(1e-3, 50)


def pair(left: float, right: float, **more: object) -> list[Reading]:
    return [
        reading("level", left, 0.005, 1e-4, output="left", **more),
        reading("level", right, 0.005, 2e-4, output="right", **more),
    ]


@given(VOLTS, VOLTS, st.floats(0.1, 10))
def test_balance_changes_sign_with_the_sides_and_not_with_scale(
    left: float, right: float, factor: float
) -> None:
    result = one("channel_balance", pair(left, right)).figure
    swapped = one("channel_balance", pair(right, left)).figure
    scaled = one("channel_balance", pair(factor * left, factor * right)).figure
    assert result.value == pytest.approx(-swapped.value)
    assert result.value == pytest.approx(scaled.value, abs=1e-9)


def test_both_tracks_are_calibrated_for_themselves() -> None:
    figure = one("channel_balance", pair(2.0, 2.0)).figure
    assert figure.value == 0
    assert figure.uncertainty == pytest.approx(8.686 * 0.005 * math.sqrt(2), rel=1e-4)
    assert figure.estimation == pytest.approx(8.686 * 1e-4 * math.sqrt(5), rel=1e-4)


def test_two_units_of_a_review_are_the_channels_of_a_pair() -> None:
    left, right = pair(2.0, 1.9)
    other = reading("level", 1.9, 0.005, output="right", unit_key="amp-b")
    result = one("channel_balance", [left, other])
    assert (result.like.unit_key, result.against) == ("amp", "amp-b")
    stereo = one("channel_balance", [left, right])
    assert (stereo.like.unit_key, stereo.against) == ("amp", "right")


@pytest.mark.parametrize(
    "change",
    [
        {"generator_vrms": 0.6}, {"generator_vrms": None}, {"load_ohm": 4.0}, {"volume": "5"},
        {"input": "aux"}, {"driven": "right"}, {"frequency_hz": 20.0}, {"bound": "upper"},
    ],
)  # fmt: skip
def test_channels_driven_otherwise_are_not_compared(change: dict[str, object]) -> None:
    left, _ = pair(2.0, 2.0)
    right = reading("level", 2.0, 0.005, output="right", **change)
    assert derived("channel_balance", [left, right]) == []


def test_of_several_levels_one_reading_is_given() -> None:
    readings = pair(2.0, 1.9) + pair(4.0, 3.8, generator_vrms=1.0)
    assert one("channel_balance", readings).figure.value == pytest.approx(20 * math.log10(2 / 1.9))


def test_of_several_levels_the_cleanest_is_taken() -> None:
    """Near the limit one channel is compressed, and the ratio is no longer one of gains."""
    bent = reading("thd", 4.0, output="right", generator_vrms=1.0)
    near_limit = pair(4.0, 3.5, generator_vrms=1.0)
    result = one("channel_balance", [*near_limit, bent, *pair(2.0, 1.9)])
    assert result.like.generator_vrms == 0.5


def test_a_limiting_channel_is_refused() -> None:
    limiting = reading("thd", 9.0, output="right")
    assert "being limited" in refused("channel_balance", [*pair(2, 1), limiting]).reason


def driven(side: str, left: float, right: float, bound: str | None = None) -> list[Reading]:
    """One capture in which `side` was driven; a bound is of the other one."""
    return [
        reading(
            "level", volts, 0.005, 1e-4, output=output, driven=side,
            bound=bound if output != side else None,
        )
        for output, volts in (("left", left), ("right", right))
    ]  # fmt: skip


def test_separation_is_reported_for_each_direction() -> None:
    result = derived("separation", driven("left", 2.0, 0.002) + driven("right", 0.02, 2.0))
    apart = {(d.like.output, d.against): d.figure.value for d in result if isinstance(d, Derived)}
    assert apart[("left", "right")] == pytest.approx(60)
    assert apart[("right", "left")] == pytest.approx(40)


def test_what_stays_below_the_floor_is_a_bound() -> None:
    result = one("separation", driven("left", 2.0, 2e-5, bound="upper")).figure
    assert (result.value, result.bound) == (pytest.approx(100), "lower")


def test_a_number_goes_before_a_bound() -> None:
    known = driven("left", 2.0, 0.002)
    bound = [
        reading("level", 2.0, output="left", driven="left", generator_vrms=0.1),
        reading("level", 1e-3, output="right", driven="left", generator_vrms=0.1, bound="upper"),
    ]
    assert one("separation", bound + known).figure.bound is None


def test_both_driven_tell_no_separation() -> None:
    assert derived("separation", pair(2.0, 0.002)) == []


def at_volume(volume: str, left: float, right: float, **more: object) -> list[Reading]:
    return [
        reading("level", volts, 0.005, 1e-4, output=side, volume=volume, **more)
        for side, volts in (("left", left), ("right", right))
    ]


def test_tracking_is_the_range_of_the_balance() -> None:
    """Balances of 0.2, 1.0 and -0.5 dB: 1.5 dB."""
    readings = [
        r for volume, db in (("max", 0.2), ("noon", 1.0), ("low", -0.5))
        for r in at_volume(volume, 10 ** (db / 20), 1.0)
    ]  # fmt: skip
    result = one("balance_tracking", readings)
    assert result.figure.value == pytest.approx(1.5)
    assert result.figure.uncertainty == pytest.approx(8.686 * 1e-4 * 2, rel=1e-3)
    assert result.against == "right"
    other = at_volume("max", 1.0, 1.0) + at_volume("low", 1.1, 1.0, calibration_key="other")
    assert one("balance_tracking", other).figure.uncertainty > 0.08


def test_one_volume_setting_tells_no_tracking() -> None:
    assert derived("balance_tracking", at_volume("max", 1.0, 1.1)) == []
    assert derived("balance_tracking", pair(1.0, 1.1)) == []


@given(st.floats(0.1, 10))
def test_tracking_does_not_depend_on_a_constant_imbalance(scale: float) -> None:
    readings = at_volume("max", 2 * scale, 2.0) + at_volume("low", 0.21 * scale, 0.2)
    result = one("balance_tracking", readings)
    assert result.figure.value == pytest.approx(20 * math.log10(1.05), abs=1e-9)


def test_one_record_goes_before_two() -> None:
    """Left and right of one capture, and a right one of another that is told a little better."""
    together = [
        reading("level", 1.0, 0.005, 2e-4, analysis_key="one"),
        reading("level", 1.0, 0.005, 2e-4, output="right", analysis_key="one"),
        reading("level", 0.9, 0.005, 1e-5, output="right", analysis_key="two"),
    ]
    assert one("channel_balance", together).figure.value == pytest.approx(0.0)
