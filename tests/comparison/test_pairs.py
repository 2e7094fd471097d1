"""Before and after, left and right, sample and sample."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from backbench.comparison import compared_sides, differences
from backbench.comparison.another_session import default_note
from backbench.comparison.verdicts import newest_review
from backbench.errors import UserError
from backbench.reports.terminal_reports import show_pair
from backbench.storage.database import Database, reading


def test_before_and_after_sorted_by_certainty(given: Any) -> None:
    given.review("r1", "2020-01-01")
    given.review("r2", "2021-01-01")
    given.unit("a", "r1")
    given.unit("a", "r2", state="restored")
    for review, noise, thd, gain in (("r1", 8e-4, 0.5, 20.0), ("r2", 2e-4, 0.51, 23.0)):
        given.reading("a", "noise_a", noise, 1e-5, under="idle", review=review)
        given.reading("a", "thd", thd, 0.01, review=review)
        given.reading("a", "gain", gain, 0.5, review=review)
    with reading(given.build()) as store:
        result = compared_sides.before_and_after(store, "a")
    message = [(d.metric, d.point_key, d.assessment) for d in result]
    assert message[0] == ("noise_a", "idle", "better")
    assert ("gain", "gain-1khz", "other") in message
    assert message[-1][0::2] == ("thd", "not significantly different")
    noise = result[0]
    assert noise.difference == pytest.approx(-6e-4)
    assert noise.uncertainty == pytest.approx(2**0.5 * 1e-5)
    assert noise.beyond == pytest.approx(6e-4 / (2 * 2**0.5 * 1e-5))


def test_no_before_and_after(given: Any) -> None:
    given.unit("a")
    with reading(given.build()) as store, pytest.raises(UserError, match="as received"):
        compared_sides.before_and_after(store, "a")


def test_left_and_right(given: Any) -> None:
    given.unit("a")
    given.reading("a", "thd", 0.5, 0.01)
    given.reading("a", "thd", 0.9, 0.01, output="right")
    given.unit("mono")
    given.reading("mono", "thd", 0.5, 0.01, output="out")
    with reading(given.build()) as store:
        assert [
            (d.difference, d.assessment) for d in compared_sides.left_and_right(store, "a")
        ] == [(pytest.approx(0.4), "worse")]
        with pytest.raises(UserError, match="outputs out"):
            compared_sides.left_and_right(store, "mono")


def test_each_output_driven_alone_is_like_the_other_driven_alone(given: Any) -> None:
    given.unit("a")
    for metric, driven in (("thd", ("left", "right")), ("thd_n", ("left", "left"))):
        for output, alone in zip(("left", "right"), driven, strict=True):
            given.reading("a", metric, 0.5, 0.01, output=output, driven=alone)
    with reading(given.build()) as store:
        assert [d.metric for d in compared_sides.left_and_right(store, "a")] == ["thd"]


def test_a_pair_is_shown_at_its_usual_test_points(given: Any, capsys: Any) -> None:
    """All of it on request; the quantities with a default spread by their number."""
    given.between_sessions = True
    metrics = ("thd", "thd_n", "gain", "noise_a", "damping_factor")
    for unit, factor in (("a", 1.0), ("b", 3.0)):
        given.unit(unit)
        for metric in metrics:
            under = "idle" if metric == "noise_a" else "tone"
            given.reading(unit, metric, 0.5 * factor, 0.001, under=under, estimation=0.001)
        given.reading(unit, "thd", 0.2 * factor, 0.001, power_w=1.0, estimation=0.001)
        for order in range(2, 5):
            given.reading(unit, "harmonic", -40.0 - 20 * factor, 0.1, order_n=order)
    with reading(given.build()) as store:
        result = compared_sides.two_units(store, "a", "b")
    show_pair("first", result, everything=False)
    short = " ".join(capsys.readouterr().out.split())
    show_pair("first", result, everything=True)
    whole = " ".join(capsys.readouterr().out.split())
    assert short.count("thd, 1 kHz") == 1
    assert "harmonic" not in short
    assert "default for every quantity" in short
    assert f"With --all: every quantity at every test point, {len(result)} in all" in short
    assert "thd, 1 kHz, 1 W, 8 Ω, left" in whole
    assert "harmonic, order 4" in whole


def test_a_note_of_many_defaults_gives_their_number() -> None:
    def quantity(n: int, default: bool) -> Any:
        return SimpleNamespace(title=f"q{n}", session_default=default)

    few = [quantity(n, n < 2) for n in range(9)]
    many = [quantity(n, n < 7) for n in range(9)]
    assert "for q0, q1," in default_note(few)
    assert "for 7 of 9 quantities," in default_note(many)
    assert "for q0, q1, q2, q3, q4, q5, q6," in default_note(many, everything=True)


@pytest.mark.parametrize(("second", "cancels"), [("c1", True), ("c2", False)])
def test_one_calibration_cancels_and_another_does_not(
    given: Any, second: str, cancels: bool
) -> None:
    """By hand: u of each is 5 of the calibration and 1 of the record: of the difference sqrt 2
    within one calibration, and sqrt (2 * 26) across a change of the bench."""
    for unit, value, calibration in (("a", 100.0, "c1"), ("b", 104.0, second)):
        given.unit(unit)
        given.row("analysis", analysis_key=f"k-{unit}", review_key=f"r-{unit}",
                  environment_key="e", calibration_key=calibration)  # fmt: skip
        given.reading(unit, "noise_a", value, 26**0.5, under="idle", estimation=1.0,
                      analysis_key=f"k-{unit}")  # fmt: skip
    with reading(given.build()) as store:
        (found,) = compared_sides.two_units(store, "a", "b")
    assert found.uncertainty == pytest.approx(2**0.5 if cancels else 52**0.5)
    assert found.assessment == ("worse" if cancels else "not significantly different")


def test_mono_pair(given: Any) -> None:
    given.unit("m-left", model="Heron")
    given.unit("m-right", model="Heron")
    given.reading("m-left", "gain", 20.0, 0.3, output="left")
    given.reading("m-right", "gain", 22.0, 0.4, output="right")
    with reading(given.build()) as store:
        result = compared_sides.two_units(store, "m-left", "m-right")
    assert {(d.difference, d.beyond) for d in result} == {(2.0, 2.0)}


@pytest.mark.parametrize(
    ("first", "second", "beyond"),
    [
        ((1.0, "upper"), (2.0, None), 5.0), ((1.0, None), (2.0, "upper"), None),
        ((2.0, "lower"), (1.0, None), 5.0), ((2.0, None), (1.0, "lower"), None),
    ],
)  # fmt: skip
def test_bounds_that_leave_the_sign_open(first: Any, second: Any, beyond: float | None) -> None:
    def row(value: float, bound: str | None) -> dict[str, Any]:
        return {
            "metric": "thd", "title": "THD", "unit": "%", "better": "lower", "point_key": "p",
            "order_n": None, "limit_percent": None, "own_frequency_hz": None, "output": "left",
            "detail": "{}", "value": value, "uncertainty": 0.1 / 2**0.5, "bound": bound,
            "own_u": 0.1 / 2**0.5, "own_dof": None, "shared_u": 0.0, "shared_with": None,
            "unit_key": f"u{value}", "review_key": "r",
        }  # fmt: skip

    result = differences.differences([row(*first)], [row(*second)], by_output=True)
    assert result[0].beyond == (None if beyond is None else pytest.approx(beyond))


def test_what_was_set_is_no_difference_and_weightings_stay_apart(given: Any) -> None:
    for key, volts, noise, plain in (("a", 6.0, 80.0, 70.0), ("b", 6.5, 81.0, 72.0)):
        given.unit(key)
        given.reading(key, "level", volts, 0.01)
        given.reading(key, "snr_1w", noise, 0.1, under="idle", detail='{"weighting":"A"}')
        given.reading(key, "snr_1w", plain, 0.1, under="idle", detail='{"weighting":"none"}')
    with reading(given.build()) as store:
        result = compared_sides.two_units(store, "a", "b")
    assert [(d.detail, d.difference) for d in result] == [
        ('{"weighting":"none"}', 2.0), ('{"weighting":"A"}', 1.0),
    ]  # fmt: skip


def sides_of(store: Database, unit: str) -> tuple[str, list[differences.Difference]]:
    review = newest_review(store, unit)
    outputs = compared_sides.outputs_in(store, unit, review)
    return compared_sides.sides(store, unit, review, outputs)


def test_sides_of_two_outputs_of_a_mono_pair_and_of_one_alone(given: Any) -> None:
    given.unit("two")
    given.reading("two", "thd", 0.5, 0.01)
    given.reading("two", "thd", 0.9, 0.01, output="right")
    given.review("both")
    for key, gain in (("m-left", 20.0), ("m-right", 22.0)):
        given.unit(key, "both", model="Heron")
        given.reading(key, "gain", gain, 0.1, review="both", output=key[2:])
    given.unit("single")
    given.reading("single", "gain", 20.0, 0.1)
    with reading(given.build()) as store:
        titles = {key: sides_of(store, key) for key in ("two", "m-left", "single")}
    assert titles["two"][0] == "Right less left"
    assert titles["m-left"][0] == "Less m-left: m-right"
    assert {d.difference for d in titles["m-left"][1]} == {2.0}
    assert titles["single"] == ("", [])
