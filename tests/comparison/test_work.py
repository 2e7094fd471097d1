"""Before and after work: equal conditions only, one rule for command, pair and saved queries."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from backbench.cli import app
from backbench.comparison import compared_sides
from backbench.comparison.differences import Difference
from backbench.comparison.usual_differences import one_per_metric
from backbench.comparison.work_comparison import WorkComparison, work_comparison
from backbench.comparison.work_effects import VERDICTS
from backbench.errors import UserError
from backbench.querying.saved_queries import shipped
from backbench.reports import work_report
from backbench.statistics.shared_uncertainty import coverage_factor
from backbench.storage.database import reading


def twice(given: Any) -> None:
    given.review("r1", "2020-01-01")
    given.review("r2", "2021-01-01")
    given.unit("a", "r1")
    given.unit("a", "r2", state="restored", work=["new capacitors"])


def both(given: Any, metric: str, values: tuple[float, float], u: float, **more: Any) -> None:
    for review, value in zip(("r1", "r2"), values, strict=True):
        given.reading("a", metric, value, u, review=review, **more)


def compared(folder: Path) -> WorkComparison:
    with reading(folder) as store:
        return work_comparison(store, "a")


def printed(folder: Path, *words: str) -> str:
    (folder / "backbench.toml").write_text('title = "Bench"\n')
    ran = CliRunner().invoke(app, [*words, "--catalogue", str(folder)])
    assert ran.exit_code == 0, ran.exception
    assert max(len(line) for line in ran.stdout.splitlines()) <= 80
    return " ".join(ran.stdout.split())


@pytest.mark.parametrize(
    ("name", "before", "after"),
    [("volume", "full", "9 o'clock"), ("tap", "8 ohm", "8 ohm tap B"), ("input", "aux", "tape")],
)  # fmt: skip
def test_unequal_conditions_are_left_out_and_named(
    given: Any, name: str, before: str, after: str
) -> None:
    twice(given)
    given.reading("a", "thd", 0.5, 0.01, review="r1", **{name: before})
    given.reading("a", "thd", 0.1, 0.01, review="r2", **{name: after})
    both(given, "noise_a", (8e-4, 2e-4), 1e-5, under="idle")
    folder = given.build()
    work = compared(folder)
    assert {d.metric for d in work.differences} == {"noise_a"}
    assert work.left_out == (f"thd ({name} {before} before, {after} after)",)
    with reading(folder) as store:
        queried = shipped()["before-and-after-work"].run(store)
    assert queried["metric"].to_list() == ["noise_a"]


def test_one_output_driven_is_no_match_for_all(given: Any) -> None:
    twice(given)
    given.reading("a", "thd", 0.5, 0.01, review="r1", driven="left")
    given.reading("a", "thd", 0.1, 0.01, review="r2")
    work = compared(given.build())
    assert work.differences == ()
    assert work.left_out == ("thd (at different test points)",)


def test_what_one_review_lacks_is_named(given: Any) -> None:
    twice(given)
    given.reading("a", "thd", 0.5, 0.01, review="r1")
    given.reading("a", "noise_a", 2e-4, 1e-5, review="r2", under="idle")
    given.reading("a", "thd", 0.5, 0.01, review="r2", power_w=1.0)
    assert compared(given.build()).left_out == (
        "noise a (after only)", "thd (at different test points)",
    )  # fmt: skip


def test_other_outputs_and_other_nominal_loads_are_no_other_test_point(given: Any) -> None:
    twice(given)
    given.reading("a", "thd", 0.5, 0.01, review="r1")
    given.reading("a", "thd", 0.5, 0.01, review="r2", output="right")
    for review, nominal in (("r1", "8 ohm"), ("r2", "4 ohm")):
        given.reading("a", "damping_factor", 9.0, 0.1, review=review,
                      detail=f'{{"nominal load":"{nominal}"}}')  # fmt: skip
    assert compared(given.build()).left_out == (
        "thd (output left before, right after)", "damping factor (under different conditions)",
    )  # fmt: skip


def test_a_condition_that_one_review_states_is_named(given: Any) -> None:
    twice(given)
    given.reading("a", "thd", 0.5, 0.01, review="r1")
    given.reading("a", "thd", 0.1, 0.01, review="r2", volume="full")
    assert "Stated in one of the reviews only: volume." in printed(
        given.build(), "before-after", "a"
    )


def test_each_row_has_conditions_difference_uncertainty_and_verdict(given: Any) -> None:
    twice(given)
    both(given, "noise_a", (8e-4, 2e-4), 1e-5, under="idle")
    both(given, "thd", (0.5, 0.51), 0.01)
    both(given, "thd", (0.5, 0.1), 0.01, output="right")
    both(given, "gain", (20.0, 23.0), 0.5)
    text = printed(given.build(), "before-after", "a")
    assert "2 became better, none worse, gain changed, which is neither better nor worse" in text
    assert "noise a (left) 800 µV → 200 µV -600 µV ± 29 µV better" in text
    assert "0.5 % → 0.1 % -0.400 % ± 0.029 % better" in text
    assert "0.5 % → 0.51 % 0.010 % ± 0.029 % inconclusive" in text
    assert "thd, 1 kHz, 5 W, 8 Ω" in text
    assert "20 dB → 23 dB 3.0 dB ± 1.5 dB changed" in text


def test_the_first_point_in_order_of_preference_is_shown(given: Any) -> None:
    """Whatever differs more at another power: several points are several chances."""
    twice(given)
    both(given, "thd", (0.5, 0.4), 0.04, power_w=5.0)
    both(given, "thd", (0.5, 0.1), 0.01, power_w=1.0)
    (shown,) = one_per_metric(compared(given.build()).differences)
    assert (shown.point_key, shown.assessment) == (
        "tone-1khz-5w-8ohm", "not significantly different",
    )  # fmt: skip


def test_two_reviews_and_two_states_are_compared(given: Any) -> None:
    twice(given)
    given.review("r3", "2022-01-01")
    given.unit("a", "r3", state="modified")
    both(given, "thd", (0.5, 0.2), 0.01)
    given.reading("a", "thd", 0.3, 0.01, review="r3")
    with reading(given.build()) as store:
        for first, second, change in (
            ("a@r1", "a@r2", -0.3), ("r2", "r3", 0.1), ("a@as-received", "a@modified", -0.2),
            ("a@as received", "a", -0.2),
        ):  # fmt: skip
            (found,) = compared_sides.two_units(store, first, second)
            assert found.difference == pytest.approx(change)
        assert work_comparison(store, "a", ("r2", "modified")).before == "r2"
        for first, second in (("a@r3", "a"), ("r1", "a@as-received")):
            with pytest.raises(UserError, match="before-after a"):
                compared_sides.two_units(store, first, second)
        with pytest.raises(UserError, match="found 'r4'"):
            compared_sides.two_units(store, "a@r4", "a")


def test_a_review_of_several_units_is_asked_for_the_unit(given: Any) -> None:
    given.review("both")
    given.unit("m-left", "both")
    given.unit("m-right", "both")
    with reading(given.build()) as store, pytest.raises(UserError, match="m-left@both"):
        compared_sides.two_units(store, "both", "m-right")


def random_pair(given: Any, seed: int) -> None:
    """Two sessions of a unit with drawn values, uncertainties, degrees of freedom and conditions,
    on one calibration, on two, or on none that is known."""
    rng = np.random.default_rng(seed)
    twice(given)
    given.between_sessions = bool(seed % 2)
    metrics = (("noise_a", "idle"), ("thd", "tone"), ("channel_balance", "tone"),
               ("response_spread", "sweep"), ("gain", "tone"))  # fmt: skip
    for review in ("r1", "r2"):
        for metric, under in metrics:
            key = f"{review}-{metric}"
            calibration = "c" if rng.random() < 0.6 else f"c-{review}"
            given.row("analysis", analysis_key=key, review_key=review, environment_key="e",
                      calibration_key=calibration)  # fmt: skip
            for output in ("left", "right"):
                value = float(rng.normal(0.5, 0.1))
                given.reading(
                    "a", metric, value, value * 0.05, under=under, review=review, output=output,
                    analysis_key=key, estimation=value * float(rng.choice([0.01, 0.04])),
                    dof=rng.choice([None, 3.0, 12.0]), bound=rng.choice([None, None, "upper"]),
                    volume=rng.choice([None, "full", "Full ", "half"]),
                )  # fmt: skip


@pytest.mark.parametrize("seed", range(8))
def test_command_and_query_give_the_same(given: Any, seed: int) -> None:
    random_pair(given, seed)
    folder = given.build()
    with reading(folder) as store:
        rows = store.frame("FROM work_difference ORDER BY ALL").to_dicts()
    found = {_place(vars(d)): d for d in compared(folder).differences}
    assert {_place(row) for row in rows} == set(found)
    for row in rows:
        _same(row, found[_place(row)])


def _place(row: Any) -> tuple[Any, ...]:
    return row["metric"], row["point_key"], row["output"], row["detail"]


def _same(row: dict[str, Any], d: Difference) -> None:
    assert row["difference"] == pytest.approx(d.difference)
    assert row["difference_u"] == pytest.approx(d.uncertainty)
    assert row["session_default"] == d.session_default
    assert (row["beyond"] is None) == (d.beyond is None)
    if d.beyond is not None:
        assert row["beyond"] == pytest.approx(d.beyond, rel=0.01)
        assert row["assessment"] == d.assessment or abs(d.beyond - 1) < 0.01


@pytest.mark.parametrize("dof", [2.0, 3.0, 5.0, 8.0, 30.0, None])
def test_the_factor_of_saved_queries_is_that_of_student(given: Any, dof: float | None) -> None:
    """Against scipy's quantiles, to 1 % from two degrees of freedom on."""
    with reading(given.build()) as store:
        ((factor,),) = store.rows("SELECT student_quantile(2, $dof::DOUBLE)", {"dof": dof})
    assert factor == pytest.approx(coverage_factor(dof), rel=0.01)


def test_a_row_fits_the_usual_terminal() -> None:
    widths = work_report.NAME, work_report.VALUES, work_report.CHANGE
    assert sum(widths) + len(widths) + max(map(len, VERDICTS.values())) <= 80
