"""Readings at test points: windows, the nearest of several, the reviewer's own points."""

from __future__ import annotations

from typing import Any

import pytest

from backbench.comparison import compared_sides
from backbench.comparison.unit_comparison import compare_unit
from backbench.documents.settings import CustomTestPoint, Settings
from backbench.errors import UserError
from backbench.storage.database import reading, writing
from backbench.test_points.assign import assign_all_points, assign_points
from backbench.test_points.points import all_points, shipped_points


def points(folder: Any) -> dict[str, list[str]]:
    with reading(folder) as store:
        rows = store.rows("SELECT point_key, reading_key FROM reading_point ORDER BY ALL")
    result: dict[str, list[str]] = {}
    for point, key in rows:
        result.setdefault(point, []).append(key)
    return result


def test_window_on_measured_power_and_load(given: Any) -> None:
    given.unit("a")
    near = given.reading("a", "thd", 1.0, power_w=5.9, load_ohm=8.2)
    given.reading("a", "thd_n", 1.0, power_w=6.5)
    given.reading("a", "snr", 1.0, power_w=5.0, load_ohm=8.6)
    given.reading("a", "gain", 20.0, power_w=5.0, frequency_hz=1011.0)
    assert points(given.build()) == {"tone-1khz-5w-8ohm": [near]}


def test_nearest_of_several_in_one_window(given: Any) -> None:
    given.unit("a")
    given.reading("a", "thd", 1.0, power_w=4.2)
    near = given.reading("a", "thd", 2.0, power_w=5.1)
    other = given.reading("a", "thd", 3.0, power_w=4.0, output="right")
    given.reading("a", "thd", None, power_w=5.0)
    assert points(given.build()) == {"tone-1khz-5w-8ohm": [near, other]}


def test_share_of_rated_power(given: Any) -> None:
    given.unit("a", rated_power_w=40.0)
    half = given.reading("a", "thd", 1.0, power_w=19.0)
    rated = given.reading("a", "thd", 1.0, power_w=41.0)
    given.unit("b")
    given.reading("b", "thd", 1.0, power_w=20.0)
    assert points(given.build()) == {
        "tone-1khz-half-8ohm": [half], "tone-1khz-rated-8ohm": [rated],
    }  # fmt: skip


def test_orders_and_frequencies_are_kept_apart(given: Any) -> None:
    given.unit("a")
    second = given.reading("a", "harmonic", -60, order_n=2)
    third = given.reading("a", "harmonic", -70, order_n=3)
    low = given.reading("a", "response_at", -1, under="sweep", frequency_hz=20.0)
    high = given.reading("a", "response_at", -2, under="sweep", frequency_hz=20000.0)
    hum = given.reading("a", "mains_line", 1e-4, under="idle", order_n=1, frequency_hz=50.01)
    assert points(given.build()) == {
        "tone-1khz-5w-8ohm": [second, third], "response": [low, high], "idle": [hum],
    }  # fmt: skip


def test_preamplifier_point_asks_for_level_and_no_load(given: Any) -> None:
    given.unit("p", kind="preamplifier")
    more = {"power_w": None, "load_ohm": None}
    level = given.reading("p", "level", 1.9, analysis_key="x", **more)
    thd = given.reading("p", "thd", 0.01, analysis_key="x", load_kind="open", **more)
    given.reading("p", "level", 0.5, analysis_key="y", **more)
    given.reading("p", "thd", 0.02, analysis_key="y", **more)
    assert points(given.build()) == {"preamp-1khz-2v": [level, thd]}


def test_two_tone_point_asks_for_both_frequencies(given: Any) -> None:
    given.unit("a")
    for position, tones in enumerate(("[19000.0, 20000.0]", "[60.0, 7000.0]"), start=1):
        given.capture("r-a", position, stimulus_json=f'{{"tones_hz": {tones}}}')
        given.row("analysis_capture", analysis_key=f"a{position:05}", review_key="r-a",
                  sha256=f"r-a-{position}")  # fmt: skip
    high = given.reading("a", "thd", 1.0, stimulus="two tones", frequency_hz=None)
    low = given.reading("a", "thd", 1.0, stimulus="two tones", frequency_hz=None)
    assert points(given.build()) == {"two-tone-19k-20k": [high], "two-tone-60-7k": [low]}


def test_frequencies_clear_of_the_mains_stand_at_the_round_point(given: Any) -> None:
    given.unit("a")
    low = given.reading("a", "thd", 1.0, frequency_hz=23.0)
    given.reading("a", "thd", 2.0, frequency_hz=23.5, output="right")
    middle = given.reading("a", "thd", 1.0, frequency_hz=997.0)
    assert points(given.build()) == {
        "tone-20hz-5w-8ohm": [low], "tone-1khz-5w-8ohm": [middle],
    }  # fmt: skip


def test_the_round_frequency_comes_before_the_one_in_its_place(given: Any) -> None:
    given.unit("a")
    given.reading("a", "thd", 1.0, frequency_hz=23.0, power_w=5.0)
    own = given.reading("a", "thd", 1.0, frequency_hz=20.0, power_w=5.2)
    near = given.reading("a", "thd", 1.0, frequency_hz=997.0, power_w=5.0)
    given.reading("a", "thd", 1.0, frequency_hz=1000.0, power_w=5.2)
    assert points(given.build()) == {"tone-20hz-5w-8ohm": [own], "tone-1khz-5w-8ohm": [near]}


def test_a_pair_clear_of_the_mains_stands_at_the_round_point(given: Any) -> None:
    given.unit("a")
    for position, tones in enumerate(("[19000.0, 19993.0]", "[66.0, 7050.0]"), start=1):
        given.capture("r-a", position, stimulus_json=f'{{"tones_hz": {tones}}}')
        given.row("analysis_capture", analysis_key=f"a{position:05}", review_key="r-a",
                  sha256=f"r-a-{position}")  # fmt: skip
    high = given.reading("a", "thd", 1.0, stimulus="two tones", frequency_hz=None)
    low = given.reading("a", "thd", 1.0, stimulus="two tones", frequency_hz=None)
    assert points(given.build()) == {"two-tone-19k-20k": [high], "two-tone-60-7k": [low]}


def test_the_tap_that_the_load_belongs_to(given: Any) -> None:
    given.unit("a")
    given.reading("a", "thd", 1.0, tap="16 ohm")
    own = given.reading("a", "thd", 2.0, tap="8 ohm")
    given.reading("a", "damping_factor", 4.0, tap="4 ohm", power_w=9.0, detail='{"load": "4"}')
    eight = given.reading("a", "damping_factor", 8.0, tap="8 ohm", power_w=9.0)
    result = points(given.build())
    assert (result["tone-1khz-5w-8ohm"], result["impedance-1khz"]) == ([own], [eight])


def test_a_headphone_socket_has_points_of_its_own(given: Any) -> None:
    given.unit("a")
    main = given.reading("a", "noise_a", 1e-4, under="idle")
    socket = given.reading("a", "noise_a", 1e-6, under="idle", tap="headphones")
    named = given.reading("a", "source_impedance", 120.0, tap="Phones", power_w=0.01,
                          load_ohm=32.0)  # fmt: skip
    power = given.reading("a", "power_at_limit", 0.2, tap="headphones", power_w=None,
                          load_ohm=300.0, limit_percent=1.0)  # fmt: skip
    eight = given.reading("a", "power_at_limit", 20.0, power_w=None, limit_percent=1.0)
    assert points(given.build()) == {
        "idle": [main], "headphones-idle": [socket], "headphones-impedance-1khz": [named],
        "tone-1khz-10mw-32ohm": [named], "limit-1khz-300ohm": [power],
        "limit-1khz-8ohm": [eight],
    }  # fmt: skip


def test_the_socket_of_a_headphone_amplifier_is_its_usual_output(given: Any) -> None:
    given.unit("a", kind="headphone amplifier")
    own = given.reading("a", "noise_a", 1e-6, under="idle", tap="headphones")
    assert points(given.build()) == {"idle": [own]}


def test_assigning_again_changes_nothing(given: Any) -> None:
    given.unit("a")
    given.reading("a", "noise", 1e-3, under="idle")
    folder = given.build()
    before = points(folder)
    with writing(folder) as store, store.transaction():
        assign_all_points(store)
    assert points(folder) == before == {"idle": ["k00001"]}


def test_reviewers_own_point(given: Any) -> None:
    own = CustomTestPoint(
        key="tone-10w", title="10 W", stimulus="tone", frequency_hz=1000.0, power_w=10.0,
        power_within_percent=10.0,
    )  # fmt: skip
    given.unit("a")
    inside = given.reading("a", "thd", 1.0, power_w=10.9, load_ohm=6.0)
    given.reading("a", "thd_n", 1.0, power_w=11.2, load_ohm=6.0)
    assert points(given.build(Settings(test_point=[own]))) == {"tone-10w": [inside]}


def test_own_point_under_a_shipped_key_is_refused() -> None:
    own = CustomTestPoint(key="idle", title="mine", stimulus="idle")
    with pytest.raises(UserError, match="test_point 1, key: found 'idle'"):
        all_points(Settings(test_point=[own]))


def test_shipped_keys_are_unique() -> None:
    keys = [point.point_key for point in shipped_points()]
    assert len(keys) == len(set(keys))


def test_review_by_review_gives_the_same_as_all_at_once(given: Any) -> None:
    given.review("r1", "2020-01-01")
    given.review("r2", "2021-01-01")
    for review in ("r1", "r2"):
        given.unit("a", review, rated_power_w=10.0)
        for power in (4.6, 5.1, 9.8):
            given.reading("a", "thd", power, review=review, power_w=power)
        given.reading("a", "noise_a", 1e-4, under="idle", review=review)
    folder = given.build()
    at_once = points(folder)
    assert [len(keys) for keys in at_once.values()] == [2, 2, 2, 2]
    with writing(folder) as store, store.transaction():
        for review in ("r2", "r1"):
            assign_points(store, [review])
    assert points(folder) == at_once


def test_idle_at_full_volume_stands_for_the_unit(given: Any) -> None:
    given.unit("a")
    given.reading("a", "noise", 1e-4, under="idle", volume="9 o'clock")
    full = given.reading("a", "noise", 3e-4, under="idle", volume="full")
    given.reading("a", "noise", 2e-4, under="idle")
    given.unit("b")
    given.reading("b", "noise", 1e-4, under="idle", volume="9 o'clock")
    given.unit("c")
    unstated = given.reading("c", "noise", 1e-4, under="idle")
    down = given.reading("c", "noise", 1e-4, under="idle", volume="minimum", output="right")
    assert points(given.build()) == {"idle": [full, unstated], "idle-volume-down": [down]}


@pytest.mark.parametrize(
    ("metric", "volume", "stands"),
    [("gain", "full", True), ("gain", None, True), ("gain", "12 o'clock", False),
     ("channel_balance", "12 o'clock", False), ("thd", "12 o'clock", True)],
)  # fmt: skip
def test_what_the_volume_control_sets_is_compared_with_it_turned_up(
    given: Any, metric: str, volume: str | None, stands: bool
) -> None:
    given.unit("a")
    given.reading("a", metric, 1.0, volume=volume)
    found = set(points(given.build())) - {"tone-1khz-5w-8ohm"}
    assert bool(found) == (stands and metric != "thd")


@pytest.mark.parametrize(
    ("named", "sort"),
    [("phono MM", "phono"), ("Phono", "phono"), ("phono MC", "moving-coil"),
     ("moving coil", "moving-coil"), ("MC 100 ohm", "moving-coil"), ("aux", ""), (None, ""),
     ("tape", ""), ("CD", "")],
)  # fmt: skip
def test_inputs_have_points_of_their_own(given: Any, named: str | None, sort: str) -> None:
    given.unit("a")
    thd = given.reading("a", "thd", 0.5, input=named)
    noise = given.reading("a", "noise", 1e-3, under="idle", input=named)
    prefix = f"{sort}-" if sort else ""
    assert points(given.build()) == {
        f"{prefix}tone-1khz-5w-8ohm": [thd], f"{prefix}idle": [noise],
    }  # fmt: skip


def test_a_microphone_input_stands_at_no_point(given: Any) -> None:
    given.unit("a")
    given.reading("a", "thd", 0.5, input="microphone")
    assert points(given.build()) == {}


def test_two_receivers_through_phono_and_aux_are_not_compared(given: Any) -> None:
    """Two equal receivers differ by 32 dB where one was measured through phono."""
    for key, input_name, volts in (("a", "aux", 1e-4), ("b", "phono", 4e-3), ("c", "aux", 1.1e-4)):
        given.unit(key, kind="receiver")
        given.reading(key, "noise_a", volts, 1e-6, under="idle", input=input_name)
    with reading(given.build()) as store:
        line = next(n for n in compare_unit(store, "a").lines if n.metric == "noise_a")
        own = next(n for n in compare_unit(store, "b").lines if n.metric == "noise_a")
        assert compared_sides.two_units(store, "a", "b") == []
    assert (line.n, line.point) == (2, "idle, input terminated")
    assert (own.n, own.point) == (1, "phono input: idle, input terminated")


@pytest.mark.parametrize(
    ("kind", "named", "stands"),
    [("phono stage", None, False), ("receiver", "phono", False), ("receiver", "MC 100 ohm", False),
     ("receiver", "aux", True)],
)  # fmt: skip
def test_a_curve_that_is_to_fall_is_not_compared_as_a_flat_one(
    given: Any, kind: str, named: str | None, stands: bool
) -> None:
    """A perfect phono stage spreads over 39 dB and is 3 dB down at 2 kHz: RIAA, table of 1954."""
    given.unit("a", kind=kind)
    given.reading("a", "response_spread", 38.9, under="sweep", input=named)
    given.reading("a", "response_high_3db", 2120.0, under="sweep", input=named)
    error = given.reading("a", "riaa_error", 0.3, under="sweep", input=named)
    found = points(given.build())
    assert (len(found.get("response", ())) > 1) is stands
    assert error in found["response"]


def test_a_unit_with_both_inputs_shows_both(given: Any) -> None:
    given.unit("a", kind="receiver")
    given.reading("a", "noise_a", 1e-4, 1e-6, under="idle", input="aux")
    given.reading("a", "noise_a", 4e-3, 1e-6, under="idle", input="phono")
    with reading(given.build()) as store:
        shown = [(n.point_key, n.value) for n in compare_unit(store, "a").lines]
    assert shown == [("idle", 1e-4), ("phono-idle", 4e-3)]


def test_what_a_loudspeaker_hears_is_no_figure_of_a_preamplifier(given: Any) -> None:
    for key, kind in (("p", "preamplifier"), ("a", "power amplifier")):
        given.unit(key, kind=kind)
        given.reading(key, "damping_factor", 0.03, load_ohm=1e4)
        given.reading(key, "snr_1w", 90.0, under="idle", detail='{"weighting":"A"}')
    with reading(given.build()) as store:
        rows = store.rows("SELECT DISTINCT unit_key FROM placed")
    assert rows == [("a",)]


@pytest.mark.parametrize(
    ("load", "stands"), [(None, True), (1e4, True), (600.0, False), (8.0, False)]
)
def test_a_loaded_preamplifier_is_not_at_the_point_of_a_bridging_load(
    given: Any, load: float | None, stands: bool
) -> None:
    given.unit("p", kind="preamplifier")
    more = {"power_w": None, "load_ohm": load, "analysis_key": "x"}
    given.reading("p", "level", 2.0, **more)
    given.reading("p", "thd", 0.01, **more)
    assert ("preamp-1khz-2v" in points(given.build())) == stands


@pytest.mark.parametrize(
    "conditions", [{"input": "phono MM"}, {"tap": "16 ohm"}, {"load_ohm": 4.0}]
)
def test_another_input_or_tap_is_no_reading_of_the_point(given: Any, conditions: Any) -> None:
    """A magnetic cartridge's input adds tens of decibels: it stands for no line input."""
    given.unit("a")
    given.reading("a", "thd", 0.5, **conditions)
    given.unit("b")
    given.reading("b", "thd", 0.5, input="aux", tap="8 ohm")
    with reading(given.build()) as store:
        units = store.rows(
            "SELECT DISTINCT unit_key FROM placed WHERE point_key = 'tone-1khz-5w-8ohm'"
        )
    assert units == [("b",)]


def test_a_reading_with_tone_controls_set_is_no_reading_of_the_point(given: Any) -> None:
    given.unit("a")
    for position, controls in ((1, "bass full"), (2, "flat")):
        key = f"r-a-{position}"
        given.capture("r-a", position, controls=controls)
        given.row("analysis_capture", analysis_key=key, review_key="r-a", sha256=key)
        given.reading("a", "thd", float(position), analysis_key=key, output=f"out{position}")
    with reading(given.build()) as store:
        outputs = store.rows("SELECT DISTINCT output FROM placed WHERE point_key LIKE 'tone-%'")
    assert outputs == [("out2",)]


def test_one_output_driven_never_stands_where_all_are(given: Any) -> None:
    given.unit("a")
    both = given.reading("a", "thd", 1.0, power_w=5.2)
    one = given.reading("a", "thd", 0.5, power_w=5.0, driven="left")
    given.reading("a", "thd", 0.4, power_w=5.0, driven="right")
    most = given.reading("a", "power_at_limit", 50.0, limit_percent=1.0, driven="left")
    assert points(given.build()) == {
        "tone-1khz-5w-8ohm": [both], "tone-1khz-5w-8ohm-one-driven": [one],
        "limit-1khz-8ohm-one-driven": [most],
    }  # fmt: skip


def test_powers_of_one_and_of_all_outputs_are_ranked_apart(given: Any) -> None:
    for n in range(7):
        given.unit(f"a{n}")
        given.reading(f"a{n}", "power_at_limit", 50.0 + n, limit_percent=1.0, driven="left")
    for key in ("a0", "b"):
        if key == "b":
            given.unit("b")
        given.reading(key, "power_at_limit", 10.0, limit_percent=1.0)
    with reading(given.build()) as store:
        made = compare_unit(store, "a0", peers=("everything",))
    shown = [(line.point_key, line.value, line.n) for line in made.lines]
    assert shown == [("limit-1khz-8ohm", 10.0, 2), ("limit-1khz-8ohm-one-driven", 50.0, 7)]


def test_a_receiver_s_tuner_stands_among_tuners(given: Any) -> None:
    """Its amplifier among amplifiers, and neither figure among the other's."""
    for key, kind in (("r", "receiver"), ("t", "tuner"), ("a", "integrated amplifier")):
        given.unit(key, kind=kind)
        if kind != "tuner":
            given.reading(key, "noise", 1e-4, under="idle", input="aux")
    for key, name in (("r", "fm"), ("t", None)):
        given.reading(key, "noise", 2e-4, under="idle", input=name)
        given.reading(key, "ultimate_snr", 70.0, under="idle", stimulus="tuner table", input=name)
    with reading(given.build()) as store:
        receiver, tuner = (compare_unit(store, key) for key in ("r", "t"))
    around = {
        (line.metric, line.point_key): [near.unit_key for near in line.around]
        for line in receiver.lines
    }
    assert around == {
        ("noise", "idle"): ["a"], ("noise", "tuner-idle"): ["t"],
        ("ultimate_snr", "tuner-table"): ["t"],
    }  # fmt: skip
    assert {line.point_key: [n.unit_key for n in line.around] for line in tuner.lines} == {
        "tuner-idle": ["r"], "tuner-table": ["r"],
    }  # fmt: skip
