"""What the commands of corrections say: history in words, units joined, what is out of date."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.errors import UserError
from backbench.maintenance.worded_changes import worded_changes
from faults.small_catalogue import set_calibration, small_catalogue, write_review


@pytest.fixture
def catalogue(tmp_path: Path) -> Catalogue:
    made = small_catalogue(tmp_path / "home")
    for name in ("auk", "brant"):
        write_review(tmp_path / name, 0)
    made.ingest([tmp_path / "auk", tmp_path / "brant"], history=False, processes=1)
    return made


def message(catalogue: Catalogue, *words: str, code: int = 0) -> str:
    ran = CliRunner().invoke(app, [*words, "-c", str(catalogue.places.root)])
    if ran.exception and not isinstance(ran.exception, SystemExit):
        raise ran.exception
    assert ran.exit_code == code, ran.output
    return " ".join(ran.output.split())


def test_units_are_joined_after_both_were_shown(catalogue: Catalogue) -> None:
    both = ("unit-of-auk", "unit-of-brant")
    text = message(catalogue, "join", *both, code=1)
    assert "warning: model differs: Tern auk, Tern brant" in text
    assert "Nothing was changed" in text
    assert set(catalogue.units()["unit_key"]) == set(both)
    with pytest.raises(UserError, match="backbench join unit-of-auk unit-of-brant"):
        message(catalogue, "rename", *both)
    with pytest.raises(UserError, match="no such unit"):
        message(catalogue, "join", "unit-of-auk", "unit-of-crake", "--yes")
    text = message(catalogue, "join", *both, "--yes")
    assert "unit-of-auk is joined with unit-of-brant: auk updated." in text
    assert catalogue.units()["unit_key"].to_list() == ["unit-of-brant"]


def test_history_names_a_corrected_calibration_and_reviews_what_is_out_of_date(
    catalogue: Catalogue,
) -> None:
    assert "out of date" not in message(catalogue, "reviews")
    set_calibration(catalogue, 12.5)
    text = message(catalogue, "reviews")
    assert "out of date: auk and brant: calibration of bench shed corrected since" in text
    assert "Next: backbench recompute" in text
    text = message(catalogue, "history", "unit-of-auk")
    assert "bench shed, calibration 2024-01-01, volts peak at full scale, track 1: " in text
    assert "10 V is now 12.5 V" in text
    assert "In all: 1 review, accepted once." in text
    assert "out of date: auk and brant" in message(catalogue, "verify")
    message(catalogue, "recompute", "--direct", "--processes", "1", code=3)
    assert "out of date" not in message(catalogue, "reviews")


def test_a_rename_names_the_reviews_of_the_unit_apart_from_others(catalogue: Catalogue) -> None:
    set_calibration(catalogue, 12.5)
    text = message(catalogue, "rename", "unit-of-auk", "unit-of-eider")
    assert "unit-of-auk is now unit-of-eider: auk updated." in text
    assert "1 other review that had been out of date: updated too." in text


def test_a_withdrawal_is_in_the_summary(catalogue: Catalogue) -> None:
    message(catalogue, "withdraw", "auk", "--reason", "wrong load")
    text = message(catalogue, "history", "unit-of-auk")
    assert "withdrawn: wrong load" in text
    assert "withdrawn now: auk" in text


def test_a_withdrawn_review_is_known_as_such(catalogue: Catalogue) -> None:
    assert "withdrawn" not in message(catalogue, "verify")
    message(catalogue, "withdraw", "auk", "--reason", "wrong load")
    assert "0 faults" in (text := message(catalogue, "verify"))
    assert "; 1 review withdrawn" in text
    with pytest.raises(UserError, match=r"withdrawn: wrong load.*`backbench withdraw auk --undo`"):
        message(catalogue, "show", "auk", code=1)
    message(catalogue, "withdraw", "auk", "--undo")
    assert "withdrawn" not in message(catalogue, "verify")


OLD = """
[review]
mains_hz = 50
[[unit]]
key = "a"
rated_power_w = 20
[[capture]]
file = "x.wav"
stimulus = { tone_hz = 1000, generator_vrms = 1.5 }
[[capture]]
file = "y.wav"
stimulus = { idle = "shorted" }
"""


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("generator_vrms = 1.5", "generator_vrms = 1.2",
         "capture x.wav, stimulus, generator: 1.5 V is now 1.2 V"),
        ("mains_hz = 50", "mains_hz = 60", "review, mains: 50 Hz is now 60 Hz"),
        ("rated_power_w = 20", "", "unit a, rated power: 20 W taken out"),
        ('[[capture]]\nfile = "y.wav"\nstimulus = { idle = "shorted" }\n', "",
         "capture y.wav taken out"),
        ('"y.wav"', '"y.wav"\nnotes = "late"', "capture y.wav, notes: “late” added"),
        ('"shorted"', '"open"', "capture y.wav, stimulus, idle: “shorted” is now “open”"),
    ],
)  # fmt: skip
def test_a_change_in_words(old: str, new: str, line: str) -> None:
    changed = tomllib.loads(OLD.replace(old, new))
    assert [*worded_changes(tomllib.loads(OLD), changed)] == [line]
