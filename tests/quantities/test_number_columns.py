"""Numbers beneath each other: one prefix, equal decimals, points above points."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backbench.publish.value_text import aligned
from backbench.quantities import number_columns
from backbench.quantities.number_columns import DIGIT_SPACE, JOINER, POINT_SPACE, alike
from backbench.quantities.number_columns import number_column as column
from backbench.quantities.writing import MOST_DIGITS, NO_BREAK, THIN, number

SIZES = st.floats(1e-6, 1e6) | st.floats(-1e6, -1e-6) | st.just(0.0)


@pytest.mark.parametrize(
    ("values", "unit", "texts", "mark"),
    [
        ([5.36e-6, 123e-6, 228.2e-6, 2.572e-3], "V", ["5.4", "123.0", "228.2", "2572.0"], "µV"),
        ([6.47, 104.7, 230.0], "W", ["6.5", "104.7", "230.0"], "W"),
        ([-3.2, 10.0], "dB", ["−3.2", "10.0"], "dB"),
        ([20.0, 997.0, 20_000.0], "", ["20", "997", f"20{THIN}000"], ""),
        ([1.0, 2.0], "", ["1", "2"], ""),
        ([0.0, 0.0], "", ["0", "0"], ""),
        ([], "V", [], "V"),
    ],
)
def test_one_prefix_and_equal_decimals(
    values: list[float], unit: str, texts: list[str], mark: str
) -> None:
    found = column(values, unit)
    assert (found.texts, found.unit.strip()) == (texts, mark)


def test_what_has_no_value_keeps_its_place() -> None:
    assert column([None, 1.5, None], none_shown="—").texts == ["—", "1.5", "—"]


def test_bounds_are_rounded_away_from_what_they_exclude() -> None:
    assert column([0.0712, 0.0949, 1.25], "", ["upper", "lower", None]).texts == [
        NO_BREAK.join(("≤", "0.072")), NO_BREAK.join(("≥", "0.094")), "1.250",
    ]  # fmt: skip


def test_where_decades_lie_between_each_keeps_its_digits_and_points_stand_beneath() -> None:
    assert column([0.0009, 59.47, 100.0]).texts == [
        "0.0009", f"59.47{DIGIT_SPACE * 2}{JOINER}", f"100{POINT_SPACE}{DIGIT_SPACE * 4}{JOINER}",
    ]  # fmt: skip


@given(st.lists(SIZES, min_size=1, max_size=8))
def test_points_stand_beneath_each_other_and_no_value_becomes_nothing(values: list[float]) -> None:
    texts = column(values).texts
    behind = {
        len(text.rstrip(JOINER)) - len(text.partition(".")[0].partition(POINT_SPACE)[0])
        for text in texts
    }
    assert len(behind) == 1
    for value, text in zip(values, texts, strict=True):
        shown = text.strip(DIGIT_SPACE + POINT_SPACE + JOINER)
        read = float(shown.replace("−", "-").replace(THIN, ""))
        assert (read == 0) == (value == 0)
        assert math.isclose(read, value, rel_tol=0.06)


def test_values_held_beside_each_other_have_one_prefix_and_equal_decimals() -> None:
    assert alike([1.642e-3, 751.3e-6], 105e-6, "V") == [f"1.64{NO_BREAK}mV", f"0.75{NO_BREAK}mV"]
    assert alike([77.29, 84.33], 0.65, "dB") == [f"77.3{NO_BREAK}dB", f"84.3{NO_BREAK}dB"]
    assert alike([0.0, 0.0], 0.0, "V") == [f"0{NO_BREAK}V", f"0{NO_BREAK}V"]


@pytest.mark.parametrize(
    ("text", "whole"),
    [
        (f"14.58{NO_BREAK}W ± 0.28{NO_BREAK}W", "14"), (f"≤{NO_BREAK}0.08{NO_BREAK}%",
                                                       f"≤{NO_BREAK}0"), ("−3", "−3"),
    ],
)  # fmt: skip
def test_the_digits_before_the_point_stand_apart(text: str, whole: str) -> None:
    shown = str(aligned(text))
    assert shown.startswith(f'<span class="whole">{whole}</span>')
    assert shown.removeprefix('<span class="whole">').replace("</span>", "") == text


def test_a_text_without_a_number_and_markup_stay_text() -> None:
    assert aligned("—") == "—"
    assert "<b>" not in str(aligned("1<b>"))


@given(
    values=st.lists(SIZES, min_size=1, max_size=8),
    most=st.integers(0, 6),
)
def test_decimals_that_are_counted_until_enough_are_those_of_all(
    values: list[float], most: int
) -> None:
    of_all = [len(number(value, MOST_DIGITS).partition(".")[2]) for value in values]
    assert number_columns._used(values, most) == min(max(of_all), most)
