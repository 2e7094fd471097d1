"""One unit beside its peers: what is compared, who is left out and why, what is noted."""

from __future__ import annotations

from typing import Any

import pytest

from backbench.comparison.standings import read_common
from backbench.comparison.unit_comparison import Comparison, compare_unit
from backbench.documents.settings import Listening, Loudspeaker, Settings
from backbench.errors import UserError
from backbench.storage.database import reading


def compared(given: Any, unit: str, **choices: Any) -> Comparison:
    with reading(given.build()) as store:
        return compare_unit(store, unit, **choices)


def noises(given: Any, values: dict[str, float], u: float = 1e-6) -> None:
    for key, value in values.items():
        given.unit(key)
        given.reading(key, "noise_a", value, u, under="idle")


def line(comparison: Comparison, metric: str) -> Any:
    return next(line for line in comparison.lines if line.metric == metric)


def test_place_percentile_and_neighbours(given: Any) -> None:
    noises(given, {"a": 1e-4, "b": 2e-4, "c": 3e-4, "d": 4e-4, "e": 9e-4, "f": 20e-4})
    result = line(compared(given, "c"), "noise_a")
    assert result.place == "3rd of 6"
    assert result.percentile == 60.0
    assert [near.unit_key for near in result.around] == ["a", "b", "d"]


def test_fewer_than_five_others_make_no_rank(given: Any) -> None:
    noises(given, {"a": 1e-4, "b": 2e-4, "c": 3e-4, "d": 4e-4, "e": 9e-4})
    comparison = compared(given, "c")
    result = line(comparison, "noise_a")
    assert (result.place, result.percentile, result.n) == ("", None, 5)
    assert comparison.notes[0] == ("only 4 peers; a rank or percentile takes 5: none is given")


def test_units_within_uncertainty_share_the_rank(given: Any) -> None:
    noises(given, {"a": 1e-4, "b": 2.0e-4, "c": 2.01e-4, "d": 4e-4, "e": 9e-4, "f": 20e-4})
    assert line(compared(given, "b"), "noise_a").place == "2nd to 3rd of 6"


def test_values_asked_for_and_values_read_once_say_the_same(given: Any) -> None:
    """Worse outputs, a stage that drives no loudspeaker, an old record, what a unit lacks."""
    for n, key in enumerate("abcdefgh"):
        given.unit(key, kind="preamplifier" if key == "g" else "integrated amplifier")
        for output in ("left", "right"):
            shift = 0.1 * n if output == "left" else -0.1 * n
            given.reading(key, "damping_factor", 20.0 + n + shift, 0.1, output=output)
            given.reading(key, "gain", 20.0 - n + shift, 0.1, output=output)
        if key != "d":
            given.reading(key, "noise_a", 1e-4 * (n + 1), 1e-6, under="idle")
    given.reading("b", "thd", 0.1, None, status="entered")
    with reading(given.build()) as store:
        for entered in (True, False):
            common = read_common(store, entered)
            for key in common.units.keys:
                asked = compare_unit(store, key, include_entered=entered)
                assert asked == compare_unit(store, key, include_entered=entered, common=common)
                assert asked.lines
                assert len(asked.nearest) == (0 if key in "dg" else 3)  # takes three shared metrics


def test_higher_is_better_where_the_metric_says_so(given: Any) -> None:
    for n, key in enumerate("abcdef", start=1):
        given.unit(key)
        given.reading(key, "damping_factor", 10.0 * n, 0.1)
    assert line(compared(given, "f"), "damping_factor").place == "1st of 6"


def test_the_worse_output_is_compared(given: Any) -> None:
    given.unit("a")
    given.reading("a", "thd", 0.1, 0.001)
    given.reading("a", "thd", 0.3, 0.001, output="right")
    result = line(compared(given, "a"), "thd")
    assert (result.output, result.value, result.rank) == ("right", 0.3, None)


def test_peers_are_of_one_technology_and_kind(given: Any) -> None:
    noises(given, {"a": 1e-4, "b": 2e-4})
    given.unit("receiver", kind="receiver")
    given.unit("transistor", technology="solid state")
    given.unit("preamp", kind="preamplifier")
    result = compared(given, "a")
    assert result.peers.keys == ("a", "b", "receiver")
    assert "tube, amplifiers" in result.peers.description
    assert "only 2 peers" in result.notes[0]


def test_peers_by_any_column(given: Any) -> None:
    noises(given, {"a": 1e-4, "b": 2e-4})
    given.unit("later", made=1975)
    assert compared(given, "a", peers=["decade=1970"]).peers.keys == ("a", "later")
    with reading(given.folder) as store:
        assert compare_unit(store, "a", peers=["everything"]).peers.keys == ("a", "b", "later")
        with pytest.raises(UserError, match="near: tube"):
            compare_unit(store, "a", peers=["technology=tubes"])
        with pytest.raises(UserError, match="'colour'"):
            compare_unit(store, "a", peers=["colour"])


def test_units_left_out_are_counted_with_the_reason(given: Any) -> None:
    given.unit("a")
    given.reading("a", "thd", 0.1, 0.001)
    for key in ("other-point", "refused", "old-method", "nothing"):
        given.unit(key)
    given.reading("other-point", "thd", 0.1, power_w=2.0)
    given.reading("refused", "thd", None)
    given.reading("old-method", "thd", 0.1, method_version=0)
    assert dict(line(compared(given, "a"), "thd").left_out) == {
        "by another method version": 1, "not measured": 1, "off the test point": 1,
        "refused a number": 1,
    }  # fmt: skip


def test_entered_readings_can_be_left_out(given: Any) -> None:
    noises(given, {"a": 1e-4, "b": 2e-4, "c": 3e-4, "d": 4e-4, "e": 9e-4, "f": 20e-4})
    given.unit("old")
    given.reading("old", "noise_a", 3e-4, None, under="idle", status="entered")
    result = line(compared(given, "a"), "noise_a")
    assert (result.place, result.note) == ("1st to 2nd of 7", "1 entered, not measured")
    with reading(given.folder) as store:
        without = line(compare_unit(store, "a", include_entered=False), "noise_a")
    assert without.place == "1st of 6"
    assert without.left_out == {"entered or off the test point": 1}


def test_newest_review_stands_for_a_unit(given: Any) -> None:
    given.review("r1", "2020-01-01")
    given.review("r2", "2021-01-01")
    given.unit("a", "r1")
    given.unit("a", "r2", state="restored")
    given.reading("a", "noise_a", 9e-4, 1e-6, under="idle", review="r1")
    given.reading("a", "noise_a", 1e-4, 1e-6, under="idle", review="r2")
    result = compared(given, "a")
    assert (line(result, "noise_a").value, result.state) == (1e-4, "restored")


def test_unknown_unit_is_reported_with_near_keys(given: Any) -> None:
    given.unit("m30-left")
    with pytest.raises(UserError, match="near: m30-left"):
        compared(given, "m30-lefft")


def test_nearest_units_overall(given: Any) -> None:
    for key, scale in {"a": 1.0, "twin": 1.02, "b": 3.0, "c": 9.0, "d": 30.0}.items():
        given.unit(key)
        given.reading(key, "noise_a", 1e-4 * scale, 1e-6, under="idle")
        given.reading(key, "thd", 0.1 * scale, 0.001)
        given.reading(key, "damping_factor", 10 * scale, 0.1)
    result = compared(given, "a").nearest
    assert [near.unit_key for near in result] == ["twin", "b", "c"]
    assert result[0].shared == 3


def test_comparison_across_a_step_of_the_bench_is_reported(given: Any) -> None:
    gains = [1.0, 1.001, 0.999, 1.0, 1.001, 1.1, 1.101, 1.099, 1.1, 1.101]
    for month, gain in enumerate(gains, start=1):
        given.review(f"r{month}", f"2020-{month:02}-01")
        given.reading("", "level", gain, 0.001, review=f"r{month}", load_ohm=None,
                      generator_vrms=1.0)  # fmt: skip
    for key, review in {"early": "r2", "early-too": "r3", "late": "r9"}.items():
        given.unit(key, review)
        given.reading(key, "noise_a", 1e-4, 1e-6, under="idle", review=review)
    notes = compared(given, "early").notes
    message = [note for note in notes if "moved by" in note]
    assert len(message) == 1
    assert message[0].endswith(
        "moved by +0.819 dB between 2020-05-01 and 2020-06-01, more than a tenth of the difference "
        "to peers on the other side: noise a (1 peer)"
    )


def test_what_drives_no_loudspeaker_has_no_damping_compared(given: Any) -> None:
    given.unit("pre", kind="preamplifier")
    given.reading("pre", "damping_factor", 0.01, 1e-4, load_ohm=10e3)
    given.reading("pre", "gain", 20.0, 0.1, load_ohm=10e3)
    assert [line.metric for line in compared(given, "pre").lines] == ["gain"]


def test_noise_metrics_are_never_mixed(given: Any) -> None:
    """A-weighted and unweighted ratios, output and input noise: a line each, of its own kind."""
    given.unit("a")
    given.reading("a", "noise_a", 1e-4, 1e-6, under="idle")
    given.reading("a", "noise", 5e-4, 1e-6, under="idle")
    for metric, weighted, plain in (("input_referred_noise", 1e-6, 5e-6), ("snr_1w", 89.0, 75.0)):
        given.reading("a", metric, weighted, 0.0, under="idle", detail='{"weighting":"A"}')
        given.reading("a", metric, plain, 0.0, under="idle", detail='{"weighting":"none"}')
    result = {line.metric: line.value for line in compared(given, "a").lines}
    assert result == {"noise_a": 1e-4, "noise": 5e-4, "input_referred_noise": 1e-6, "snr_1w": 89.0}


def test_volume_of_the_idle_noise_is_reported(given: Any) -> None:
    for key, volume in {"a": "full", "b": "full", "c": "10 o'clock", "d": None}.items():
        given.unit(key)
        given.reading(key, "noise_a", 1e-4, 1e-6, under="idle", volume=volume)
    given.reading("a", "noise_a", 0.5e-4, 1e-6, under="idle", volume="half")
    comparison = compared(given, "a")
    assert line(comparison, "noise_a").value == 1e-4
    assert (
        "idle noise: at volume full, 1 peer without one stated; a unit with its volume turned down "
        "is compared with its like"
    ) in comparison.notes


def test_interpolated_values_are_counted(given: Any) -> None:
    for key, powers in {"a": (1.1, 3.0, 9.0), "b": (1.1, 5.0, 9.0)}.items():
        given.unit(key)
        for position, power in enumerate(powers, start=1):
            given.capture(f"r-{key}", position)
            given.reading(key, "thd", 0.1, 1e-3, power_w=power,
                          analysis_key=f"r-{key}-{position}")  # fmt: skip
    comparison = compared(given, "a")
    result = line(comparison, "thd")
    assert (result.point_key, result.n, result.interpolated) == ("tone-1khz-5w-8ohm", 2, 1)
    assert result.note == "1 interpolated in power, this one among them"
    assert comparison.frame()["interpolated"].to_list() == [1]


def test_frame_has_a_row_for_each_metric(given: Any) -> None:
    noises(given, {"a": 1e-4, "b": 2e-4, "c": 3e-4, "d": 4e-4, "e": 9e-4, "f": 20e-4})
    frame = compared(given, "a").frame()
    assert frame["metric"].to_list() == ["noise_a"]
    assert frame.row(0, named=True)["rank_first"] == 1


def test_noise_loudness_and_price_for_a_listener(given: Any) -> None:
    given.unit("a", price_amount=100.0, price_currency="USD", price_year=1958)
    given.reading("a", "noise_a", 1e-3, 1e-6, under="idle")
    for output in ("left", "right"):
        given.reading("a", "power_at_limit", 20.0, 0.1, power_w=None, limit_percent=1.0,
                      output=output)  # fmt: skip
    room = Settings(
        loudspeaker=[Loudspeaker(name="the horn", sensitivity_db=104.0)],
        listening=Listening(seat_m=4.0, room_noise_dba=30.0),
    )
    assert compared(given, "a", settings=room).listening == (
        "noise through the horn: 35 dB SPL(A) at 1 m, 23 dB at the seat: near the room's own noise "
        "(30 dB(A))",
        "greatest level at 1 % distortion through the horn: 117 dB SPL at 1 m, "
        "105 dB at the seat (loud enough to harm hearing)",
        "listed at 100.00 USD in 1958: 1085 USD in money of 2024 (US consumer prices), "
        "27.1 USD a watt",
    )


def test_work_and_sides_are_reported_with_one_difference_a_metric(given: Any) -> None:
    given.review("r1", "2020-01-01")
    given.review("r2", "2021-01-01")
    given.unit("a", "r1")
    given.unit("a", "r2", state="restored")
    for review, noise in (("r1", 9e-4), ("r2", 1e-4)):
        for output, share in (("left", 1.0), ("right", 2.0)):
            more = {"review": review, "output": output}
            given.reading("a", "noise_a", noise * share, 1e-6, under="idle", **more)
            given.reading("a", "level", noise, 1e-6, **more)
    result = compared(given, "a")
    assert result.work[0] == "r2 less r1"
    assert [(d.metric, d.output, d.assessment) for d in result.work[1]] == [
        ("noise_a", "right", "better")
    ]
    assert result.sides[0] == "Right less left"
    assert [d.difference for d in result.sides[1]] == [pytest.approx(1e-4)]
