"""review.toml and backbench.toml: what is read, and how faults are told."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from backbench.documents.manifest import Conditions, Manifest, read_manifest
from backbench.documents.settings import Settings, calibration_for, read_settings
from backbench.documents.stimuli import KINDS, analysis_kind
from backbench.errors import UserError

TEXT = """
[review]
key = "r"
date = 2024-05-11
bench = "garage"
mains_hz = 50

[[unit]]
key = "left-one"
maker = "M"
model = "N"
kind = "power amplifier"
technology = "tube"
made = [1959, 1963]
state = "serviced"

[[unit]]
key = "right-one"
maker = "M"
model = "N"
kind = "power amplifier"
technology = "tube"
state = "as received"

[tracks]
1 = { unit = "left-one", output = "left" }
2 = { unit = "right-one", output = "right" }

[conditions]
load_ohm = 8
input = "main"

[[capture]]
file = "a.flac"
stimulus = { tone_hz = 1000, generator_vrms = 0.5 }

[[capture]]
file = "sub/b.flac"
stimulus = { idle = "shorted" }
conditions = { load_ohm = "open" }
"""


def manifest(text: str = TEXT) -> Manifest:
    return read_manifest(text.encode())


def faults(text: str) -> list[str]:
    with pytest.raises(UserError) as caught:
        manifest(text)
    return [str(fault) for fault in caught.value.faults]


def test_a_mono_pair_is_two_units_on_two_tracks() -> None:
    read = manifest()
    roles = read.tracks_of(read.capture[0])
    assert [(n, r.unit, r.output) for n, r in roles.items()] == [
        (1, "left-one", "left"), (2, "right-one", "right")
    ]  # fmt: skip
    assert [u.made_range for u in read.unit] == [(1959, 1963), (None, None)]


def test_conditions_of_a_capture_complete_those_of_the_review() -> None:
    read = manifest()
    first, second = (read.conditions_of(c) for c in read.capture)
    assert (first.load_resistance, first.load_kind, first.input) == (8.0, "resistor", "main")
    assert (second.load_resistance, second.load_kind, second.input) == (None, "open", "main")


@pytest.mark.parametrize(
    ("of_review", "of_capture", "expected"),
    [("", "", None), ("low", "", "low"), ("", "high", "high"), ("low", "high", "high")],
)
def test_the_range_of_a_capture_is_that_of_its_conditions(
    of_review: str, of_capture: str, expected: str | None
) -> None:
    read = manifest()
    given = {"range": of_review} if of_review else {}
    read = read.model_copy(update={"conditions": Conditions(**given)})
    own = {"range": of_capture} if of_capture else {}
    capture = read.capture[0].model_copy(update={"conditions": Conditions(**own)})
    assert read.range_of(capture) == read.conditions_of(capture).range == expected


def test_byte_order_mark_and_windows_line_ends_are_read() -> None:
    data = b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").encode()
    assert read_manifest(data) == manifest()


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('file = "sub/b.flac"', 'file = "a.flac"', "'a.flac' twice"),
        ('key = "right-one"', 'key = "left-one"', "'left-one' twice"),
        ('2 = { unit = "right-one", output = "right" }', "", "no track that carries it"),
        ("1 = { unit", "one = { unit", "a track number from 1"),
        ('unit = "left-one", output', 'unit = "lost-one", output', "'lost-one'"),
        ("load_ohm = 8\n", "", "no load_ohm"),
        ("generator_vrms = 0.5", 'generator_vrms = "loud"', "'unknown'"),
        ("generator_vrms = 0.5", "generator_vrms = -0.5", "above 0"),
        ("generator_vrms = 0.5", "generator_vrms = inf", "finite"),
        ("mains_hz = 50", "mains_hz = true", "a number"),
        ("made = [1959, 1963]", "made = 1059", "at least 1900"),
        ('state = "serviced"', 'state = "service"', "as received"),
        ('model = "N"', 'model = "N\\u0007"', "control characters"),
        ('file = "sub/b.flac"', 'file = "/etc/passwd"', "inside the review's folder"),
        ('file = "sub/b.flac"', 'file = "C:/b.flac"', "inside the review's folder"),
        ('{ idle = "shorted" }', "{ sweep_hz = [20, 20000], sweep_s = 1, generator_vrms = 1 }",
         "no record of what was played"),
        ('{ load_ohm = "open" }', '{ driven = "middle" }', "an output of its tracks"),
        ("[conditions]", "[condition]", "did you mean conditions?"),
        ('date = 2024-05-11', 'date = 2024-05-11\ndate = 2024-05-12', "overwrite"),
    ],
)  # fmt: skip
def test_a_fault_is_reported_in_one_line(old: str, new: str, message: str) -> None:
    assert old in TEXT
    result = faults(TEXT.replace(old, new))
    assert any(message in line for line in result), result
    assert not any("\n" in line for line in result)


def test_bytes_that_are_not_text_are_reported() -> None:
    with pytest.raises(UserError, match="UTF-8"):
        read_manifest(b'[review]\nkey = "\xff\xfe"')


def test_endless_nesting_is_reported() -> None:
    with pytest.raises(UserError):
        read_manifest(b"a = " + b"[" * 100_000)


def test_every_kind_has_a_marker_of_its_own() -> None:
    assert len({kind.marker for kind in KINDS}) == len(KINDS)
    assert analysis_kind(manifest().capture[1].stimulus) == "idle"


SETTINGS = """
[bench.garage]
load_uncertainty_percent = 0.5
generator_uncertainty_percent = 1
[[bench.garage.calibration]]
since = 2024-01-01
volts_peak_at_full_scale = { 1 = 10.0 }
uncertainty_percent = 0.3
[[bench.garage.calibration]]
since = 2025-01-01
volts_peak_at_full_scale = { 1 = 11.0 }
uncertainty_percent = 0.3
[[bench.garage.calibration]]
since = 2024-01-01
range = "1 V"
volts_peak_at_full_scale = { 1 = 1.0 }
uncertainty_percent = 0.3
"""


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    (tmp_path / "backbench.toml").write_text(SETTINGS)
    return read_settings(tmp_path)


@pytest.mark.parametrize(
    ("day", "input_range", "volts"),
    [
        (dt.date(2024, 1, 1), None, 10.0),
        (dt.date(2024, 12, 31), None, 10.0),
        (dt.date(2025, 6, 1), None, 11.0),
        (dt.date(2025, 6, 1), "1 V", 1.0),
    ],
)
def test_the_calibration_in_force_is_the_latest_before_the_day(
    settings: Settings, day: dt.date, input_range: str | None, volts: float
) -> None:
    assert calibration_for(settings, "garage", day, input_range).volts == {1: volts}


@pytest.mark.parametrize(
    ("bench", "day", "input_range"),
    [
        ("garage", dt.date(2023, 12, 31), None),
        ("garage", dt.date(2025, 1, 1), "5 V"),
        ("attic", dt.date(2025, 1, 1), None),
    ],
)
def test_no_calibration_is_never_replaced_by_another(
    settings: Settings, bench: str, day: dt.date, input_range: str | None
) -> None:
    with pytest.raises(UserError) as caught:
        calibration_for(settings, bench, day, input_range)
    assert len(caught.value.faults) == 1


CURRENT = 'current = "left", volts_per_ampere = 0.1'


def with_third_track(role: str) -> str:
    return TEXT.replace("\n[conditions]", f"3 = {{ {role} }}\n\n[conditions]", 1)


def test_a_track_may_carry_the_current_of_an_output() -> None:
    taken = manifest(with_third_track(f'unit = "left-one", {CURRENT}'))
    role = taken.tracks_of(taken.capture[0])[3]
    assert (role.current, role.volts_per_ampere, role.output) == ("left", 0.1, None)
    assert role.identity()["volts_per_ampere"] == 0.1


def test_roles_without_a_current_are_what_they_were_before_there_were_any() -> None:
    role = manifest().tracks["1"]
    assert role.identity() == {"unit": "left-one", "output": "left", "generator": None}


@pytest.mark.parametrize(
    ("role", "fault"),
    [
        (f'unit = "right-one", {CURRENT}', "the current of 'left'"),
        ('unit = "left-one", current = "left"', "belong together"),
        (f'unit = "left-one", output = "left", {CURRENT}', "either an output"),
        ('unit = "left-one", current = "left", volts_per_ampere = 0', "volts_per_ampere"),
    ],
)
def test_a_current_that_can_be_of_no_output_is_a_fault(role: str, fault: str) -> None:
    with pytest.raises(UserError) as caught:
        manifest(with_third_track(role))
    assert fault in "\n".join(map(str, caught.value.faults))
