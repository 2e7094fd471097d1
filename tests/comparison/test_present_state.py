"""One review, one state: figures from before the work, and entered ones, stand for no unit."""

from __future__ import annotations

from typing import Any

import pytest

from backbench.comparison import compared_sides
from backbench.comparison.unit_comparison import compare_unit
from backbench.errors import UserError
from backbench.publish.site_data import as_of_review, keep_views
from backbench.quantities.writing import ordinary
from backbench.querying.saved_queries import shipped
from backbench.storage.database import reading


def compared(given: Any, unit: str = "a") -> dict[str, float]:
    with reading(given.build()) as store:
        return {line.metric: line.value for line in compare_unit(store, unit).lines}


def restored(given: Any) -> None:
    given.review("r1", "2020-01-01")
    given.review("r2", "2021-01-01")
    given.unit("a", "r1")
    given.unit("a", "r2", state="restored", work=["recapped"])
    given.reading("a", "noise_a", 8e-4, 1e-5, under="idle", review="r1")
    given.reading("a", "thd", 0.5, 0.01, review="r1")
    given.reading("a", "noise_a", 2e-4, 1e-5, under="idle", review="r2")


def test_a_figure_from_before_the_work_does_not_stand_for_the_unit(given: Any) -> None:
    restored(given)
    assert compared(given) == {"noise_a": 2e-4}


def test_what_only_an_earlier_state_has_is_shown_apart(given: Any) -> None:
    restored(given)
    with reading(given.build()) as store:
        notes = compare_unit(store, "a").notes
    assert [ordinary(note) for note in notes if "present state" in note] == [
        "thd was not measured in the present state; 0.500 % ± 0.020 % is from 2020-01, before it "
        "(as received)"
    ]


def test_a_second_session_in_the_same_state_adds_its_figures(given: Any) -> None:
    restored(given)
    given.review("r3", "2022-01-01")
    given.unit("a", "r3", state="restored")
    given.reading("a", "thd", 0.1, 0.01, review="r3")
    assert compared(given) == {"noise_a": 2e-4, "thd": 0.1}


def test_the_same_state_after_further_work_is_another_period(given: Any) -> None:
    restored(given)
    given.review("r3", "2022-01-01")
    given.unit("a", "r3", state="restored", work=["output transformers replaced"])
    given.reading("a", "thd", 0.1, 0.01, review="r3")
    assert compared(given) == {"thd": 0.1}


def test_an_earlier_review_shows_its_own_charts_though_work_followed(given: Any) -> None:
    restored(given)
    given.reading("a", "harmonic", -60.0, 0.1, review="r1", order_n=2)
    given.reading("a", "harmonic", -80.0, 0.1, review="r2", order_n=2)
    given.curve("a", "response", [20.0, 1000.0, 20000.0], [0.0, 0.0, 0.0], review="r1")

    def levels() -> list[float]:
        rows = shipped()["harmonics-left-and-right"].run(store, {"unit": "a"})
        return list(rows["level_db"])

    with reading(given.build()) as store:
        keep_views(store)
        with as_of_review(store, "a", "r1"):
            assert levels() == [-60.0]
            for name in ("distortion-over-power", "response-over-peers"):
                assert not shipped()[name].run(store, {"unit": "a"}).is_empty(), name
        assert levels() == [-80.0]


def test_every_query_of_a_unit_shows_its_present_state(given: Any) -> None:
    restored(given)
    given.reading("a", "harmonic", -60.0, 0.1, review="r1", order_n=2)
    given.curve("a", "response", [20.0, 1000.0, 20000.0], [0.0, 0.0, 0.0], review="r1")
    with reading(given.build()) as store:
        for name in ("harmonics-left-and-right", "harmonics-by-topology", "response-over-peers",
                     "distortion-over-power"):  # fmt: skip
            assert shipped()[name].run(store).is_empty(), name


def test_an_entered_figure_does_not_displace_a_measured_one(given: Any) -> None:
    """Neither in one review, where it was typed for the very power, nor from a newer one."""
    given.review("r1", "2020-01-01")
    given.unit("a", "r1")
    given.capture("r1", 1)
    given.reading("a", "thd", 0.5, 0.01, review="r1", power_w=5.02)
    given.reading("a", "thd", 0.05, 0.01, review="r1", status="entered", power_w=5.0)
    given.review("r2", "2022-01-01")
    given.unit("a", "r2")
    given.reading("a", "thd", 0.01, 0.001, review="r2", status="entered")
    assert compared(given)["thd"] == pytest.approx(0.5, rel=0.05)


def test_a_review_of_entered_figures_does_not_head_a_measured_unit(given: Any) -> None:
    given.review("r1", "2020-01-01")
    given.unit("a", "r1")
    given.capture("r1", 1)
    given.reading("a", "noise_a", 2e-4, 1e-5, under="idle", review="r1")
    given.review("r2", "2022-01-01")
    given.unit("a", "r2", state="restored")
    given.reading("a", "noise_a", 1e-5, 1e-6, under="idle", review="r2", status="entered")
    with reading(given.build()) as store:
        result = compare_unit(store, "a")
    assert (result.review_key, result.state, result.lines[0].value) == ("r1", "as received", 2e-4)


def test_before_and_after_come_from_two_reviews_alone(given: Any) -> None:
    restored(given)
    given.review("r3", "2022-01-01")
    given.unit("a", "r3", state="modified")
    given.reading("a", "thd", 0.1, 0.01, review="r3")
    folder = given.build()
    with reading(folder) as store:
        result = compared_sides.before_and_after(store, "a")
        queried = shipped()["before-and-after-work"].run(store)
    assert [d.metric for d in result] == ["thd"]
    assert queried["metric"].to_list() == ["thd"]


def test_a_unit_is_not_paired_with_itself(given: Any) -> None:
    given.unit("a")
    with reading(given.build()) as store, pytest.raises(UserError, match="before-after a"):
        compared_sides.two_units(store, "a", "a")
