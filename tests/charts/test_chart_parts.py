"""The parts that charts are put together from: numbers in words, placing, axes, peers' bands."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.charts.axis import axis, frequency_axis, ranges_widely
from backbench.charts.chart_text import ordinal, shortened, text_width, unit_name, wrapped
from backbench.charts.control_chart import limit_names, limits, ordered_for_drawing
from backbench.charts.label_placement import freest, rows_to_name, spread, swarm
from backbench.charts.peer_band import envelope
from backbench.charts.ranked_dots import rank_interval
from backbench.charts.response import mask
from backbench.charts.spectrum import peaks
from backbench.charts.trend_scatter import fitted


def test_places() -> None:
    assert [ordinal(n) for n in (1, 2, 3, 4, 11, 12, 13, 21, 102, 112)] == [
        "1st",
        "2nd",
        "3rd",
        "4th",
        "11th",
        "12th",
        "13th",
        "21st",
        "102nd",
        "112th",
    ]


@pytest.mark.parametrize("hertz", [1000.0, 997.0, 440.0])
@pytest.mark.parametrize("width", [256.0, 686.0])
def test_one_frequency_alone_has_an_axis(hertz: float, width: float) -> None:
    made = frequency_axis([hertz], 0.0, width)
    assert 0.0 <= made.px(hertz) <= width
    assert made.ticks


@given(st.text(max_size=60), st.floats(20, 400))
def test_shortened_text_fits(text: str, room: float) -> None:
    assert text_width(shortened(text, room, 14), 14) <= max(room, text_width("…", 14))


def test_wrapped_text_keeps_its_words() -> None:
    assert wrapped("one two three four", 70, 14) == ["one two", "three four"]
    assert wrapped("one two three four five six", 70, 14)[1].endswith("…")
    assert wrapped("", 100, 14) == []


@given(st.lists(st.floats(0, 400), min_size=1, max_size=20))
def test_spread_labels_keep_apart_in_order_and_inside(wanted: list[float]) -> None:
    placed = spread(wanted, 15.0, 0.0, 400.0)
    order = sorted(range(len(wanted)), key=lambda k: wanted[k])
    steps = np.diff([placed[k] for k in order])
    assert (steps >= 15.0 - 1e-6).all()
    assert min(placed) >= -1e-6
    assert max(placed) <= 400 + 1e-6


def test_spread_leaves_alone_what_does_not_collide() -> None:
    assert spread([10.0, 90.0, 50.0], 20.0, 0.0, 100.0) == [10.0, 90.0, 50.0]
    assert spread([50.0, 50.0], 20.0, 0.0, 100.0) == [40.0, 60.0]


@given(st.lists(st.floats(0, 1000), min_size=1, max_size=40))
@settings(max_examples=40)
def test_swarm_dots_do_not_touch(along: list[float]) -> None:
    offsets = swarm(along, 8.0, 1000.0)
    for i, (x, y) in enumerate(zip(along, offsets, strict=True)):
        for x2, y2 in list(zip(along, offsets, strict=True))[:i]:
            assert math.hypot(x - x2, y - y2) > 7.9


def test_naming_takes_subject_ends_and_neighbours() -> None:
    assert rows_to_name(5, [], 8) == [0, 1, 2, 3, 4]
    assert rows_to_name(60, [30], 5) == [0, 29, 30, 31, 59]


def test_freest_place_hides_fewest_points() -> None:
    assert freest([(0.0, 0.0), (100.0, 0.0)], 50.0, 16.0, [(20.0, 0.0)]) == (100.0, 0.0)


@given(st.floats(1e-6, 1e6), st.floats(1.5, 1e4), st.booleans())
def test_an_axis_turns_values_into_pixels_and_back(low: float, ratio: float, log: bool) -> None:
    made = axis([low, low * ratio], 0.0, 500.0, log=log)
    for value in (low, low * math.sqrt(ratio), low * ratio):
        assert 0 <= made.px(value) <= 500
        assert made.at(made.px(value)) == pytest.approx(value, rel=1e-6)
    assert all(made.low <= tick <= made.high for tick in made.ticks)


def test_frequency_axis_has_the_trades_grid() -> None:
    made = frequency_axis([20.0, 20000.0], 0.0, 600.0)
    assert made.ticks == (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)
    assert made.px(math.sqrt(20 * 20000)) == pytest.approx(300)


def test_logarithm_is_for_wide_positive_values_that_are_not_decibels() -> None:
    assert ranges_widely([1.0, 100.0], "V")
    assert not ranges_widely([1.0, 100.0], "dB")
    assert not ranges_widely([0.0, 100.0], "V")
    assert not ranges_widely([1.0, 2.0], "V")


def test_envelope_of_straight_lines_is_known() -> None:
    x = [1.0, 10.0, 100.0]
    curves = {("u", str(k)): (x, [10.0**k] * 3) for k in range(5)}
    for row in envelope(curves, log_y=True):
        assert row["count"] == 5
        assert [row[n] for n in ("least", "q1", "middle", "q3", "greatest")] == pytest.approx(
            [1, 10, 100, 1000, 10000]
        )


def test_envelope_does_not_go_where_fewer_than_half_speak() -> None:
    curves = {("u", str(k)): ([1.0, 10.0 if k else 1000.0], [1.0, 1.0]) for k in range(6)}
    assert max(row["x"] for row in envelope(curves)) <= 10.0 * 1.0001
    assert envelope({("u", ""): ([1.0, 2.0], [1.0, 1.0])}) == []


def test_control_limits_of_a_known_series() -> None:
    # Moving ranges 2, 2, 2, 2; 3 * 2 / 0.9539 = 6.290 (median of two normal values' distance).
    result = limits([10.0, 12.0, 10.0, 12.0, 10.0])
    assert result is not None
    assert result.centre == 10.0
    assert result.high - result.centre == pytest.approx(6.290, abs=1e-3)
    assert limits([1.0, 2.0]) is None


def test_control_limits_hold_for_normal_values() -> None:
    # 99.73 % of normal values lie within three standard deviations (normal table).
    values = np.random.default_rng(5).normal(3.0, 0.5, 20000)
    result = limits([float(v) for v in values])
    assert result is not None
    assert result.high == pytest.approx(4.5, abs=0.03)
    assert np.mean((values > result.low) & (values < result.high)) == pytest.approx(
        0.9973, abs=1e-3
    )


def test_units_within_their_uncertainty_share_a_place() -> None:
    rows = [{"value": v, "low": v - 0.2, "high": v + 0.2} for v in (1, 1.01, 3, 5, 7, 9)]
    assert [rank_interval(rows, k, "lowest") for k in range(3)] == [(1, 2), (1, 2), (3, 3)]
    turned = rows[::-1]
    assert [rank_interval(turned, k, "highest") for k in (3, 4, 5)] == [(4, 4), (5, 6), (5, 6)]
    assert rank_interval(rows[:5], 0, "lowest") is None


def test_trend_ignores_an_outlier_and_refuses_few() -> None:
    rows = [{"x": float(k), "y": 2.0 * k + 1} for k in range(13)]
    rows[4]["y"] = 500.0
    line = fitted(rows)
    assert line is not None
    assert line.slope == pytest.approx(2.0)
    assert line.low <= 2.0 <= line.high
    assert fitted(rows[:9]) is None
    assert fitted([{"x": 1.0, "y": float(k)} for k in range(12)]) is None


def test_trend_on_a_logarithmic_axis_is_a_factor() -> None:
    line = fitted([{"x": float(k), "y": 5.0 * 2.0**k} for k in range(12)], log=True)
    assert line is not None
    assert 10**line.slope == pytest.approx(2.0)
    assert 10**line.intercept == pytest.approx(5.0)


def test_peaks_of_a_trace_are_tops_and_not_their_skirts() -> None:
    hertz = [float(f) for f in np.geomspace(20, 2000, 400)]
    level = [-110 + 50 * math.exp(-((math.log(f / 100) / 0.03) ** 2)) for f in hertz]
    trace = [{"frequency_hz": f, "level": v} for f, v in zip(hertz, level, strict=True)]
    result = [row["frequency_hz"] for row in peaks(trace, log=False)]
    assert result == [pytest.approx(100, rel=0.01)]


def test_bold_text_is_given_more_room() -> None:
    # Advance widths of "Gristmantle Burrhouse H" in a bold sans-serif of 100 units an em: 1189.
    assert text_width("Gristmantle Burrhouse H", 100, bold=True) >= 1189


def test_a_units_name_keeps_what_tells_it_apart() -> None:
    label = "Sundertarn Anvilmoss 30, left"
    assert unit_name(label, 400, 14) == label
    assert unit_name(label, 170, 14) == "S. Anvilmoss 30, left"
    assert unit_name(label, 130, 14).endswith("…, left")
    assert text_width(unit_name(label, 130, 14), 14) <= 130
    assert text_width(unit_name(label, 40, 14), 14) <= 40


def test_series_with_a_step_come_first_and_then_one_of_each_sort() -> None:
    flat, moved = [0.0, 0.1] * 6, [0.0, 0.1] * 4 + [5.0, 5.1] * 4
    values = {
        ("b", "gain, left"): flat,
        ("b", "gain, right"): flat,
        ("b", "noise, left"): flat,
        ("b", "noise, right"): moved,
        ("b", "residual, left"): flat[:3],
    }
    series = {key: [{"value": v} for v in some] for key, some in values.items()}
    result = {key: limits(some) for key, some in values.items()}
    assert [key[1] for key in ordered_for_drawing(series, result)] == [
        "noise, right",
        "gain, left",
        "residual, left",
        "gain, right",
        "noise, left",
    ]


def test_narrow_limits_are_reported_as_a_distance() -> None:
    result = limits([0.0, 2e-6, 0.0, 2e-6, 0.0, 2e-6])
    assert result is not None
    texts = [text for _, text in limit_names(result, axis([-0.05, 0.05], 100, 0, "dB"))]
    assert len(texts) == 2
    assert texts[1].endswith("± 0.0000063\u00a0dB")
    still = limits([0.0] * 6)
    assert still is not None
    assert (
        limit_names(still, axis([-0.05, 0.05], 100, 0, "dB"))[1][1]
        == "no limits: all values are equal"
    )


def test_a_published_spread_is_a_window_about_the_curves() -> None:
    row = {"mask_db": 3.0, "mask_low_hz": 20.0, "mask_high_hz": 20e3}
    line = [row | {"frequency_hz": f, "level_db": v} for f, v in ((20, -2.0), (1e3, 0), (9e4, -9))]
    assert mask({("u", "left"): line}) == (20.0, 20e3, -2.5, 0.5)
    assert mask({("u", "left"): [r | {"mask_db": None} for r in line]}) is None
