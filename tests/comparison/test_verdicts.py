"""Published figures: the decision rule, conditions, bounds, what was never measured."""

from __future__ import annotations

from typing import Any

import pytest

from backbench.comparison.verdicts import Verdict, verdicts
from backbench.quantities.writing import ordinary
from backbench.statistics.conformity import conformance, outcome_of, size_conformance
from backbench.storage.database import reading


def judged(given: Any) -> list[Verdict]:
    with reading(given.build()) as store:
        return verdicts(store, "a")


@pytest.mark.parametrize(
    ("value", "u", "side", "p"),
    [
        (0.8, 0.1, "at most", 0.9772498680518208), (1.0, 0.1, "at most", 0.5),
        (1.2, 0.1, "at most", 0.0227501319481792), (1.2, 0.1, "at least", 0.9772498680518208),
        (1.0, 0.0, "at most", 1.0), (1.1, 0.0, "at most", 0.0),
    ],
)  # fmt: skip
def test_conformance_probability(value: float, u: float, side: str, p: float) -> None:
    """Normal distribution function at +-2 and 0 standard deviations (JCGM 106, computed)."""
    assert conformance(value, u, 1.0, side) == pytest.approx((p, p), rel=1e-12)


@pytest.mark.parametrize(
    ("value", "bound", "side", "outcome"),
    [
        (0.5, "upper", "at most", "meets"), (2.0, "upper", "at most", "inconclusive"),
        (2.0, "lower", "at most", "fails"), (0.5, "lower", "at most", "inconclusive"),
        (2.0, "lower", "at least", "meets"), (0.5, "lower", "at least", "inconclusive"),
        (0.5, "upper", "at least", "fails"), (2.0, "upper", "at least", "inconclusive"),
    ],
)  # fmt: skip
def test_bounds(value: float, bound: str, side: str, outcome: str) -> None:
    assert outcome_of(conformance(value, 0.01, 1.0, side, bound)) == outcome


@pytest.mark.parametrize(
    ("value", "outcome"),
    [(0.8, "meets"), (0.84, "inconclusive"), (1.16, "inconclusive"),
     (1.2, "fails")],
)  # fmt: skip
def test_guarded_by_uncertainty(value: float, outcome: str) -> None:
    """Limits at 1.645 standard uncertainties from the promise."""
    assert outcome_of(conformance(value, 0.1, 1.0, "at most")) == outcome


@pytest.mark.parametrize(
    ("left", "right", "outcome", "output"),
    [
        (-0.3, 0.01, "fails", "left"), (0.01, -0.3, "fails", "right"),
        (-0.02, 0.04, "meets", "right"), (-0.04, 0.02, "meets", "left"),
    ],
)  # fmt: skip
def test_what_is_best_at_zero_is_judged_by_its_size(
    given: Any, left: float, right: float, outcome: str, output: str
) -> None:
    given.unit("a")
    given.published("a", "dc_offset", "at most", 0.05)
    given.reading("a", "dc_offset", left, 0.001)
    given.reading("a", "dc_offset", right, 0.001, output="right")
    verdict = judged(given)[0]
    assert (verdict.outcome, verdict.output) == (outcome, output)


def test_probability_of_a_size_within_a_limit() -> None:
    """Closed form: mass of a normal distribution between -1 and 1 standard deviations."""
    within, _ = size_conformance(0.0, 0.1, 0.1, "at most")
    assert within == pytest.approx(0.6826894921, rel=1e-9)
    beyond, _ = size_conformance(0.0, 0.1, 0.1, "at least")
    assert within + beyond == pytest.approx(1.0, rel=1e-12)
    assert size_conformance(-0.3, 0.01, 0.05, "at most") == size_conformance(
        0.3, 0.01, 0.05, "at most"
    )


def test_the_worse_output_decides(given: Any) -> None:
    given.unit("a")
    given.published("a", "thd", "at most", 1.0, frequency_hz=1000.0, power_w=5.0, load_ohm=8.0)
    given.reading("a", "thd", 0.5, 0.01)
    given.reading("a", "thd", 1.5, 0.01, output="right")
    result = judged(given)[0]
    assert (result.outcome, result.output, result.value) == ("fails", "right", 1.5)
    assert ordinary(result.explanation) == "1 kHz, 5 W, 8 Ω; left: 0.500 % ± 0.020 %"
    assert ordinary(result.promised_at) == "1 kHz, 5 W, 8 Ω"


def test_other_conditions_are_reported(given: Any) -> None:
    given.unit("a")
    given.published("a", "thd", "at most", 1.0, frequency_hz=1000.0, power_w=15.0, load_ohm=8.0)
    given.reading("a", "thd", 0.5, 0.01)
    result = judged(given)[0]
    assert result.outcome == "measured under other conditions"
    assert ordinary(result.explanation) == "not measured at 15 W (nearest: 5 W)"


def test_a_promise_over_a_band_is_not_met_by_one_frequency(given: Any) -> None:
    given.unit("a")
    given.published("a", "thd", "at most", 1.0, band_low_hz=20.0, band_high_hz=20000.0)
    given.published(
        "a", "response_spread", "at most", 1.0, band_low_hz=20.0, band_high_hz=20000.0, position=2
    )
    given.reading("a", "thd", 0.5, 0.01)
    given.reading("a", "response_spread", 0.5, 0.01, under="sweep")
    result = judged(given)
    assert [v.outcome for v in result] == ["measured under other conditions", "meets"]
    assert ordinary(result[0].explanation) == "promised over 20 Hz to 20 kHz"


def test_a_promised_power_is_no_condition(given: Any) -> None:
    given.unit("a")
    given.published("a", "power_at_limit", "at least", 15.0, power_w=15.0, limit_percent=1.0)
    given.reading("a", "power_at_limit", 20.0, 0.2, power_w=None, limit_percent=1.0)
    given.reading("a", "power_at_limit", 10.0, 0.2, power_w=None, limit_percent=0.1)
    assert judged(given)[0].outcome == "meets"


def test_not_measured_and_refused(given: Any) -> None:
    given.unit("a")
    given.published("a", "thd", "at most", 1.0)
    given.published("a", "snr", "at least", 80.0, position=2)
    given.reading("a", "thd", None)
    result = judged(given)
    assert [v.outcome for v in result] == ["not measured", "not measured"]
    assert [v.explanation for v in result] == ["no honest number", ""]


def test_entered_without_uncertainty_decides_nothing(given: Any) -> None:
    given.unit("a")
    given.published("a", "thd", "at most", 1.0)
    given.reading("a", "thd", 0.1, None, status="entered")
    assert judged(given)[0].outcome == "inconclusive"


def test_readings_by_an_older_method_are_not_used(given: Any) -> None:
    given.unit("a")
    given.published("a", "thd", "at most", 1.0)
    given.reading("a", "thd", 0.1, 0.01, method_version=0)
    assert judged(given)[0].outcome == "not measured"


def test_damping_factor_stands_under_its_nominal_load(given: Any) -> None:
    given.unit("a")
    given.published("a", "damping_factor", "at least", 10.0, load_ohm=8.0)
    given.published("a", "damping_factor", "at least", 10.0, load_ohm=16.0, position=2)
    given.reading("a", "damping_factor", 12.0, 0.1, load_ohm=4.0,
                  detail='{"nominal load":"8 ohm"}')  # fmt: skip
    result = judged(given)
    assert [v.outcome for v in result] == ["meets", "measured under other conditions"]
    assert ordinary(result[1].explanation) == "load 8 Ω, 16 Ω promised"


def test_of_two_outputs_that_both_meet_the_nearer_one_is_reported(given: Any) -> None:
    given.unit("a")
    given.published("a", "thd", "at most", 1.0)
    given.reading("a", "thd", 0.2, 0.001)
    given.reading("a", "thd", 0.4, 0.001, output="right")
    assert judged(given)[0].output == "right"


@pytest.mark.parametrize(("dof", "deviate"), [(1, 6.31), (3, 2.35), (10, 1.81), (None, 1.645)])
def test_few_degrees_of_freedom_ask_for_a_wider_margin(dof: float | None, deviate: float) -> None:
    """Student's t for 90 % two-sided: JCGM 100:2008, table G.2."""
    p, _ = conformance(1 - 0.1 * deviate, 0.1, 1.0, "at most", dof=dof)
    assert p == pytest.approx(0.95, abs=5e-4)


def test_the_stored_degrees_of_freedom_decide(given: Any) -> None:
    given.unit("a")
    given.published("a", "thd", "at most", 1.0, frequency_hz=1000.0, power_w=5.0, load_ohm=8.0)
    given.reading("a", "thd", 0.8, 0.1, dof=3.0)
    assert judged(given)[0].outcome == "inconclusive"


def sweep(given: Any, *steps: tuple[float, float], output: str = "left") -> None:
    for watts, thd in steps:
        given.reading("a", "thd", thd, thd * 0.002, under="steps", power_w=watts, output=output)


def test_a_promise_at_30_w_is_judged_along_the_curve_not_beside_it(given: Any) -> None:
    """THD rises as the square of power above 10 W: 0.95 % at 29.3 W, 0.998 % at 30 W."""
    given.unit("a")
    given.published("a", "thd", "at most", 0.97, frequency_hz=1000.0, power_w=30.0, load_ohm=8.0)
    sweep(given, *((w, 1e-3 * w**2 / 0.9018) for w in (20.0, 25.0, 29.3, 34.0)))
    result = judged(given)[0]
    assert result.value == pytest.approx(0.998, rel=0.002)
    assert result.outcome == "fails"
    assert "interpolated in power between 29.3 W and 34 W" in result.explanation


def test_steps_that_do_not_reach_the_promised_power_decide_nothing(given: Any) -> None:
    given.unit("a")
    given.published("a", "thd", "at most", 1.0, frequency_hz=1000.0, power_w=30.0, load_ohm=8.0)
    sweep(given, (10.0, 0.1), (20.0, 0.2), (29.3, 0.3))
    result = judged(given)[0]
    assert result.outcome == "measured under other conditions"
    assert ordinary(result.explanation) == "not measured at 30 W (nearest: 29.3 W)"


def test_an_offset_of_power_within_one_percent_widens_the_uncertainty(given: Any) -> None:
    given.unit("a")
    given.published("a", "thd", "at most", 1.0, frequency_hz=1000.0, power_w=30.0, load_ohm=8.0)
    given.reading("a", "thd", 0.98, 0.001, power_w=29.8)
    result = judged(given)[0]
    assert result.uncertainty > 0.03
    assert result.outcome == "inconclusive"


def test_an_entered_figure_does_not_decide_where_there_is_a_measured_one(given: Any) -> None:
    given.unit("a")
    given.published("a", "thd", "at most", 1.0)
    given.reading("a", "thd", 0.1, 0.01)
    given.reading("a", "thd", 1.5, 0.01, status="entered", output="right")
    assert (judged(given)[0].outcome, judged(given)[0].status) == ("meets", "measured")


def test_a_figure_without_the_band_that_it_needs_gets_no_verdict(given: Any) -> None:
    given.unit("a")
    given.published("a", "response_spread", "at most", 1.0)
    given.reading("a", "response_spread", 0.5, 0.01, under="sweep")
    result = judged(given)[0]
    assert result.outcome == "measured under other conditions"
    assert "no band is stated" in result.explanation


def test_both_uncertainties_and_what_each_decides(given: Any) -> None:
    """0.187 % ± 0.002 % meets 0.2 % on the day; with the default's 5 % and more it is open."""
    given.between_sessions = True
    given.unit("a")
    given.published("a", "thd", "at most", 0.2)
    given.reading("a", "thd", 0.187, 0.001)
    verdict = judged(given)[0]
    assert verdict.outcome == "meets"
    assert verdict.again is not None
    assert verdict.again.is_default
    assert verdict.again.uncertainty > 5 * 0.001
    assert verdict.again_outcome == "inconclusive"
    text = ordinary(verdict.again_text)
    assert text.endswith("in another session (stated default): inconclusive")


def test_a_spread_that_was_observed_is_no_default(given: Any) -> None:
    given.between_sessions = True
    for n, value in enumerate((0.100, 0.101, 0.099)):
        key = f"r{n}"
        given.review(key, f"2020-0{n + 1}-01")
        given.capture(key, 1)
        given.unit("a", review=key)
        given.reading("a", "thd", value, 1e-4, review=key)
    given.row("published", review_key="r2", unit_key="a", position=1, metric="thd",
              side="at most", limit_value=0.2, printed="0.2 %", printed_in="manual")  # fmt: skip
    verdict = judged(given)[0]
    assert verdict.again is not None
    assert not verdict.again.is_default
    assert "default" not in verdict.again_text


@pytest.mark.parametrize(
    ("promised", "measured_under", "named"),
    [
        ({"load_ohm": 4.0}, {}, "load 8 Ω, 4 Ω promised"),
        ({"frequency_hz": 20.0}, {}, "frequency 1 kHz, 20 Hz promised"),
        ({"band_low_hz": 20.0, "band_high_hz": 2e4}, {}, "promised over 20 Hz to 20 kHz"),
        ({"weighting": "A"}, {"detail": '{"weighting":"none"}'}, "weighting none, A promised"),
        ({}, {"detail": '{"weighting":"A"}'},
         "no weighting is stated with the published figure, measured: A"),
        ({"driven": "all"}, {"driven": "left"}, "only left driven, all outputs promised"),
        ({"driven": "one"}, {}, "all outputs driven, one promised"),
        ({"supply_vrms": 230.0}, {}, "supply not stated, 230 V promised"),
    ],
)  # fmt: skip
def test_each_condition_that_differs_is_named(
    given: Any, promised: dict[str, Any], measured_under: dict[str, Any], named: str
) -> None:
    given.unit("a")
    given.published("a", "thd", "at most", 1.0, **promised)
    given.reading("a", "thd", 0.5, 0.01, **measured_under)
    result = judged(given)[0]
    assert result.outcome == "measured under other conditions"
    assert ordinary(result.explanation) == named
    assert result.value == 0.5


@pytest.mark.parametrize(
    ("promised", "measured_under"),
    [
        ({"load_ohm": 8.0}, {}), ({"weighting": "A"}, {"detail": '{"weighting":"A"}'}),
        ({"driven": "all"}, {}), ({"driven": "one"}, {"driven": "left"}),
    ],
)  # fmt: skip
def test_a_condition_that_is_the_promised_one_is_judged(
    given: Any, promised: dict[str, Any], measured_under: dict[str, Any]
) -> None:
    given.unit("a")
    given.published("a", "thd", "at most", 1.0, **promised)
    given.reading("a", "thd", 0.5, 0.01, **measured_under)
    assert judged(given)[0].outcome == "meets"


def captured(given: Any, metric: str, value: float, position: int = 1, **more: Any) -> None:
    """A reading of a capture with its own supply or controls."""
    key = f"r-a-{position}"
    given.capture("r-a", position, **more)
    given.row("analysis_capture", analysis_key=key, review_key="r-a", sha256=key)
    given.reading("a", metric, value, 0.01, analysis_key=key)


@pytest.mark.parametrize(
    ("supply", "outcome"), [(231.0, "meets"), (240.0, "measured under other conditions")]
)
def test_a_promised_supply_is_held_against_the_stated_one(
    given: Any, supply: float, outcome: str
) -> None:
    given.unit("a")
    given.published("a", "thd", "at most", 1.0, supply_vrms=230.0)
    captured(given, "thd", 0.5, supply_vrms=supply)
    result = judged(given)[0]
    assert result.outcome == outcome
    if supply == 240.0:
        assert ordinary(result.explanation) == "supply 240 V, 230 V promised"


def test_tone_controls_that_are_set_decide_nothing(given: Any) -> None:
    given.unit("a")
    given.published("a", "thd", "at most", 1.0)
    captured(given, "thd", 2.0, controls="bass full")
    assert judged(given)[0].explanation == "tone controls not flat"


def test_a_promise_means_line_input_full_volume_and_all_driven(given: Any) -> None:
    given.unit("a")
    given.published("a", "noise", "at most", 1.0)
    for value, more in (
        (40.0, {"input": "phono"}), (0.1, {"volume": "min"}), (0.2, {"driven": "left"}),
        (0.5, {"input": "aux", "volume": "full"}),
    ):  # fmt: skip
        given.reading("a", "noise", value, 0.01, under="idle", **more)
    assert (judged(given)[0].outcome, judged(given)[0].value) == ("meets", 0.5)


def test_where_only_phono_was_measured_the_input_is_named(given: Any) -> None:
    given.unit("a")
    given.published("a", "noise", "at most", 1.0)
    given.reading("a", "noise", 0.5, 0.01, under="idle", input="phono MM")
    assert judged(given)[0].explanation == "through the phono input"


def test_rated_power_is_judged_without_a_published_line(given: Any) -> None:
    """At 1 % and into 8 ohm where it was measured so; the worse output decides."""
    given.unit("a", rated_power_w=20.0)
    for output, watts in (("left", 24.0), ("right", 17.0)):
        given.reading("a", "power_at_limit", watts, 0.2, limit_percent=1.0, power_w=None,
                      output=output)  # fmt: skip
    given.reading("a", "power_at_limit", 12.0, 0.2, limit_percent=1.0, power_w=None, load_ohm=4.0)
    given.reading("a", "power_at_limit", 30.0, 0.2, limit_percent=10.0, power_w=None)
    (result,) = judged(given)
    assert (result.outcome, result.output, result.value) == ("fails", "right", 17.0)
    assert ordinary(result.promised_at) == "1 kHz, 8 Ω, 1 %"
    assert result.printed == "at least 20 W"
    assert result.printed_in == "rated power, for which no distortion limit is stated"
    assert "left: 24.00 W ± 0.40 W" in ordinary(result.explanation)


def test_a_published_power_stands_in_place_of_the_rated_one(given: Any) -> None:
    given.unit("a", rated_power_w=20.0)
    given.published("a", "power_at_limit", "at least", 15.0, limit_percent=1.0)
    given.reading("a", "power_at_limit", 17.0, 0.2, limit_percent=1.0, power_w=None)
    assert [v.outcome for v in judged(given)] == ["meets"]
