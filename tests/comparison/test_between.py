"""Readings between the steps of a power sweep: value, uncertainty, where there is none."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import assume
from hypothesis import given as property_given
from hypothesis import strategies as st

from backbench.storage.database import reading, writing
from backbench.test_points.assign import assign_all_points, assign_points
from backbench.test_points.interpolate import interpolated


def step(power: float, value: float, u: float = 0.0, unit: str = "%", **more: Any) -> Any:
    return {
        "power_w": power, "value": value, "uncertainty": u, "estimation": u, "unit": unit,
        "bound": None, "power_u": 0.0, **more,
    }  # fmt: skip


def test_a_power_law_is_met_exactly() -> None:
    """THD that rises with the square root of power is a straight line in logarithms."""
    result = interpolated([step(p, 0.1 * math.sqrt(p)) for p in (1.0, 4.0, 16.0)], 5.0)
    assert result is not None
    assert result.value == pytest.approx(0.1 * math.sqrt(5.0), rel=1e-12)
    assert result.uncertainty == pytest.approx(0, abs=1e-12)


def test_decibels_are_straight_in_log_power() -> None:
    """SNR rises by 10 dB a decade: 67 dB at 5 W between 60 dB at 1 W and 70 dB at 10 W."""
    rows = [step(p, 60 + 10 * math.log10(p), 0.1, "dB") for p in (0.1, 1.0, 10.0)]
    result = interpolated(rows, 5.0)
    assert result is not None
    assert result.value == pytest.approx(60 + 10 * math.log10(5.0), abs=1e-9)
    assert result.uncertainty == pytest.approx(0.1, rel=1e-9)


def test_curvature_goes_into_the_uncertainty() -> None:
    """y = x squared in logarithms: at the middle of two points the chord is off by a quarter of
    their distance squared. The lines through the steps beside, carried on, leave it by four times
    that, which is taken as the half-width of a rectangular distribution."""
    xs = np.log([1.0, 2.0, 4.0, 8.0])
    result = interpolated([step(math.exp(x), math.exp(x * x)) for x in xs], math.sqrt(8.0))
    assert result is not None
    middle = math.log(8.0) / 2
    off = math.log(result.value) - middle**2
    assert off == pytest.approx(math.log(2.0) ** 2 / 4, rel=1e-9)
    assert result.uncertainty / result.value == pytest.approx(
        math.log(2.0) ** 2 / math.sqrt(3), rel=1e-9
    )


def test_uncertainty_of_power_counts_by_the_slope() -> None:
    rows = [step(p, 0.1 * p**2, power_u=0.01) for p in (1.0, 4.0, 16.0)]
    result = interpolated(rows, 5.0)
    assert result is not None
    assert result.uncertainty / result.value == pytest.approx(0.02, rel=1e-9)


@pytest.mark.parametrize("power", [0.5, 1.0, 16.0, 20.0])
def test_never_beyond_the_sweep(power: float) -> None:
    assert interpolated([step(p, 0.1) for p in (1.0, 4.0, 16.0)], power) is None


def test_two_steps_or_a_gap_of_a_decade_tell_nothing() -> None:
    assert interpolated([step(1.0, 0.1), step(4.0, 0.1)], 2.0) is None
    assert interpolated([step(p, 0.1) for p in (0.1, 1.0, 11.0)], 5.0) is None


def test_a_bound_beside_makes_a_bound() -> None:
    rows = [step(1.0, 0.1, bound="upper"), step(4.0, 0.1), step(16.0, 0.1, bound="lower")]
    result = interpolated(rows, 2.0)
    assert result is not None
    assert result.bound == "upper"
    rows[1]["bound"] = "upper"
    assert interpolated(rows, 5.0) is None


@property_given(
    st.lists(st.floats(0.01, 10.0), min_size=3, max_size=6), st.floats(1.05, 100.0),
)  # fmt: skip
def test_the_value_lies_between_its_neighbours(values: list[float], power: float) -> None:
    rows = [step(2.0**n, value) for n, value in enumerate(values)]
    result = interpolated(rows, power)
    assume(result is not None)
    assert result is not None
    sides = sorted((result.below["value"], result.above["value"]))
    assert sides[0] * (1 - 1e-9) <= result.value <= sides[1] * (1 + 1e-9)
    assert result.below["power_w"] <= power <= result.above["power_w"]


def swept(given: Any, powers: tuple[float, ...], unit: str = "a", **more: Any) -> None:
    """A sweep of THD = 0.1 % per root watt, each level a capture of its own."""
    review = f"r-{unit}"
    for position, power in enumerate(powers, start=1):
        key = f"{review}-{position}"
        given.capture(review, position)
        given.row("analysis", analysis_key=key, review_key=review, environment_key="e",
                  calibration_key="c")  # fmt: skip
        given.row("analysis_capture", analysis_key=key, review_key=review, sha256=f"sha-{key}")
        level = {"analysis_key": key, "power_w": power, **more}
        given.reading(unit, "thd", 0.1 * math.sqrt(power), 1e-4, **level)
        given.reading(unit, "output_power", power, 0.01 * power, **level)


FIVE = (
    "SELECT value, status, reason, interpolated, power_w, analysis_key FROM reading "
    "JOIN reading_point USING (review_key, reading_key) "
    "WHERE metric = 'thd' AND point_key = 'tone-1khz-5w-8ohm'"
)


def five_watts(folder: Path) -> list[tuple[Any, ...]]:
    with reading(folder) as store:
        return store.rows(FIVE)


def test_a_point_between_steps_is_met_by_interpolation(given: Any) -> None:
    given.unit("a")
    swept(given, (0.7, 2.5, 7.9, 25.0))
    folder = given.build()
    ((value, status, reason, marked, power, key),) = five_watts(folder)
    assert value == pytest.approx(0.1 * math.sqrt(5.0), rel=1e-9)
    assert (status, marked, power) == ("measured", True, 5.0)
    assert reason == "interpolated in power between 2.5 W and 7.9 W"
    with reading(folder) as store:
        traced = store.rows(
            "SELECT sha256 FROM analysis_capture WHERE analysis_key = ? ORDER BY 1", [key]
        )
        made = store.rows(
            "SELECT calibration_key, environment_key FROM analysis WHERE analysis_key = ?", [key]
        )
    assert traced == [("sha-r-a-2",), ("sha-r-a-3",)]
    assert made == [("c", "e")]


def test_a_reading_near_the_power_is_carried_along_its_curve(given: Any) -> None:
    given.unit("a")
    swept(given, (0.7, 2.5, 5.8, 25.0))
    ((value, _, _, marked, power, _),) = five_watts(given.build())
    assert (marked, power) == (True, 5.0)
    assert value == pytest.approx(0.1 * math.sqrt(5.0), rel=1e-9)


def test_a_reading_at_the_power_stands_for_itself(given: Any) -> None:
    given.unit("a")
    swept(given, (0.7, 2.5, 5.02, 25.0))
    assert [row[3:5] for row in five_watts(given.build())] == [(False, 5.02)]


@pytest.mark.parametrize(("rated", "steepness"), [(100.0, 1.0), (None, 3.0)])
def test_what_an_offset_can_change_is_in_the_uncertainty(
    given: Any, rated: float | None, steepness: float
) -> None:
    """A lone reading at 5.8 W: by ln(5.8 / 5) times the steepness, a rectangular distribution."""
    given.unit("a", rated_power_w=rated)
    given.reading("a", "thd", 0.2, 0.001, power_w=5.8)
    with reading(given.build()) as store:
        ((u, own, low),) = store.rows(
            "SELECT uncertainty, own_u, low FROM placed WHERE metric = 'thd'"
        )
    offset = 0.2 * steepness * math.log(5.8 / 5.0) / math.sqrt(3)
    assert u == pytest.approx(math.hypot(0.001, offset), rel=1e-9)
    assert own == pytest.approx(offset, rel=1e-9)
    assert low == pytest.approx(0.2 - 2 * u)


def test_near_clipping_a_reading_off_the_power_does_not_stand_for_it(given: Any) -> None:
    given.unit("a", rated_power_w=6.0)
    given.reading("a", "thd", 0.2, 0.001, power_w=5.8)
    assert five_watts(given.build()) == []


@pytest.mark.parametrize(
    "powers", [(0.7, 2.5, 3.6), (7.9, 12.0, 25.0), (2.5, 7.9), (0.1, 0.4, 25.0)]
)
def test_no_sweep_around_the_point_leaves_it_empty(given: Any, powers: tuple[float, ...]) -> None:
    given.unit("a")
    swept(given, powers)
    assert five_watts(given.build()) == []


def test_other_conditions_make_no_sweep(given: Any) -> None:
    given.unit("a")
    swept(given, (0.7, 2.5))
    given.capture("r-a", 3)
    given.reading("a", "thd", 0.3, 1e-4, analysis_key="r-a-3", power_w=7.9, tap="16 ohm")
    given.unit("b")
    swept(given, (0.7, 2.5, 7.9), unit="b", driven="left")
    assert five_watts(given.build()) == []


def test_assigning_again_changes_nothing(given: Any) -> None:
    given.unit("a")
    swept(given, (0.7, 2.5, 7.9, 25.0))
    folder = given.build()
    tables = ("reading", "reading_point", "analysis", "analysis_capture")

    def contents() -> list[Any]:
        with reading(folder) as store:
            return [store.rows(f"FROM {table} ORDER BY ALL") for table in tables]

    before = contents()
    with writing(folder) as store, store.transaction():
        assign_points(store, ["r-a"])
        assign_all_points(store)
    assert contents() == before


def at_voltages(given: Any, volts: tuple[float, ...], load: float | None = None) -> None:
    """A preamplifier's THD = 0.01 % a volt, each level a capture of its own."""
    given.unit("p", kind="preamplifier")
    for position, level in enumerate(volts, start=1):
        key = f"r-p-{position}"
        given.capture("r-p", position)
        given.row("analysis", analysis_key=key, review_key="r-p", environment_key="e",
                  calibration_key="c")  # fmt: skip
        given.row("analysis_capture", analysis_key=key, review_key="r-p", sha256=f"sha-{key}")
        more = {"analysis_key": key, "power_w": None, "load_ohm": load}
        given.reading("p", "thd", 0.01 * level, 1e-5, **more)
        given.reading("p", "level", level, 0.01 * level, **more)


TWO_VOLTS = (
    "SELECT value, reason, power_w, uncertainty FROM placed WHERE metric = 'thd' "
    "AND point_key = 'preamp-1khz-2v'"
)


@pytest.mark.parametrize("load", [None, 1e4])
def test_a_preamplifier_is_carried_along_its_curve_to_the_voltage(
    given: Any, load: float | None
) -> None:
    """With what the voltage is known to: 1 % of 2 V moves 0.02 % by 0.0002 %."""
    at_voltages(given, (0.5, 1.0, 1.8, 4.0), load)
    with reading(given.build()) as store:
        ((value, reason, power, u),) = store.rows(TWO_VOLTS)
    assert value == pytest.approx(0.02, rel=1e-9)
    assert (reason, power) == ("interpolated in voltage between 1.8 V and 4 V", None)
    assert u == pytest.approx(math.hypot(1.05e-5, 0.0002), rel=0.01)


@pytest.mark.parametrize("volts", [(0.5, 1.0, 1.8), (0.1, 0.15, 4.0), (1.8, 4.0)])
def test_without_steps_around_the_voltage_the_offset_is_in_the_uncertainty(
    given: Any, volts: tuple[float, ...]
) -> None:
    at_voltages(given, volts)
    with reading(given.build()) as store:
        rows = store.rows(TWO_VOLTS)
    if 1.8 not in volts:
        assert rows == []
    else:
        ((value, reason, _, u),) = rows
        assert (value, reason) == (pytest.approx(0.018), None)
        assert u > 0.018 * 2 * math.log(2 / 1.8) / math.sqrt(3)


def test_a_loaded_output_has_no_place_among_those_without_load(given: Any) -> None:
    at_voltages(given, (0.5, 1.0, 1.8, 4.0), load=600.0)
    with reading(given.build()) as store:
        assert store.rows(TWO_VOLTS) == []
