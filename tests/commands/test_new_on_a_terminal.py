"""`new` where there is a terminal to ask on, through a pseudo-terminal, and where there is none."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from backbench.bench_day.review_request import likely
from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.documents.manifest import read_manifest
from backbench.documents.unit_facts import choices, key_of
from talk import Talk

BENCH = """\
[bench.{name}]
load_uncertainty_percent = 0.3
generator_uncertainty_percent = 0.3
[[bench.{name}.calibration]]
since = 2024-01-01
volts_peak_at_full_scale = {{ 1 = 10.0, 2 = 10.0 }}
uncertainty_percent = 0.2
"""


def home(folder: Path, *benches: str) -> Path:
    Catalogue.create(folder, "".join(BENCH.format(name=name) for name in benches))
    return folder


def test_a_whole_conversation(tmp_path: Path) -> None:
    root, folder = home(tmp_path / "home", "garage", "attic"), tmp_path / "2024-05-receiver"
    talk = Talk("new", folder, "-c", root, "--state", "as recieved", "--date", "3/4/2024")
    talk.answer("or your own key for it: ", "Corvane R-40\n")
    talk.answer("Your key for Corvane R-40 [corvane-r-40]: ", "\n")
    talk.until("Kind of unit:\n  1  integrated amplifier\n  2  power amplifier")
    talk.answer("Number or name: ", "amplyphone\n")
    talk.until("'amplyphone' is none of these")
    talk.answer("Number or name: ", "reciever\n")
    talk.answer("'reciever': is 'receiver' meant? [Y/n]: ", "\n")
    talk.answer("Number or name: ", "2\n")
    talk.answer("'as recieved': is 'as received' meant? [Y/n]: ", "\n")
    talk.answer("in W (Enter alone: leave it open): ", "40 ohm\n")
    talk.answer("in W (Enter alone: leave it open): ", "40 W\n")
    talk.answer("Number or name: ", "gorage\n")
    talk.answer("'gorage': is 'garage' meant? [Y/n]: ", "n\n")
    talk.until("'gorage' is none of these")
    talk.answer("Number or name: ", "2\n")
    talk.answer("Mains frequency in Hz, 50 or 60: ", "\n")
    talk.until("an answer is needed here")
    talk.answer("Mains frequency in Hz, 50 or 60: ", "60\n")
    talk.until("'3/4/2024' is which day?\n  1  4 March 2024\n  2  3 April 2024")
    talk.answer("Number or name: ", "3 April 2024\n")
    talk.until("Next: backbench plan")
    assert talk.end() == 0
    made = read_manifest((folder / "review.toml").read_bytes())
    (unit,) = made.unit
    assert (unit.key, unit.maker, unit.model) == ("corvane-r-40", "Corvane", "R-40")
    assert (unit.kind, unit.technology, unit.state) == ("receiver", "solid state", "as received")
    assert (unit.rated_power_w, made.review.bench, made.review.mains_hz) == (40.0, "garage", 60.0)
    assert made.review.date.isoformat() == "2024-04-03"


REVIEW = """\
[review]
key = "2023-05-heron"
date = 2023-05-11
bench = "garage"
mains_hz = 50
[[unit]]
key = "heron-40"
maker = "Marrowgate"
model = "Heron 40"
kind = "integrated amplifier"
technology = "tube"
state = "as received"
rated_power_w = 40
[tracks]
1 = { unit = "heron-40", output = "left" }
"""


def test_a_known_unit_is_meant_by_a_key_much_like_its_own(tmp_path: Path) -> None:
    root, earlier, folder = home(tmp_path / "home", "garage"), tmp_path / "one", tmp_path / "two"
    earlier.mkdir()
    (earlier / "review.toml").write_text(REVIEW)
    Catalogue(root).ingest([earlier], history=False, processes=1)
    talk = Talk("new", folder, "-c", root, "--date", "31.12.23")
    talk.answer("or your own key for it: ", "herron-40\n")
    talk.until("'herron-40' is no unit of the catalogue, but 'heron-40' is. It is:")
    talk.answer("Number or name: ", "1\n")
    talk.answer("Number or name: ", "restored\n")
    talk.until("'31.12.23' is read as '2023-12-31'")
    assert talk.end() == 0, talk.text
    made = read_manifest((folder / "review.toml").read_bytes())
    assert (made.unit[0].key, made.unit[0].state) == ("heron-40", "restored")
    assert made.unit[0].rated_power_w == 40
    assert made.review.date.isoformat() == "2023-12-31"


def test_what_was_typed_is_printed_when_it_is_broken_off(tmp_path: Path) -> None:
    root, folder = home(tmp_path / "home", "garage"), tmp_path / "review"
    talk = Talk("new", folder, "-c", root, "--work", "new valves", "--kind", "tuner")
    talk.answer("or your own key for it: ", "Corvane T-1\n")
    talk.answer("[corvane-t-1]: ", "my-tuner\n")
    talk.answer("Number or name: ", "valve\n")
    talk.until("State in which it is measured:\n  1  as received")
    talk.answer("Number or name: ", "\x04")
    talk.until("Nothing was written. What you entered, as a command:")
    assert talk.end() == 130
    line = talk.text.strip().splitlines()[-1].strip()
    assert line == (
        f"backbench new {folder} --unit my-tuner --maker Corvane --model T-1 --kind tuner "
        f"--technology tube --work 'new valves' -c {root}"
    )
    assert not folder.exists()


def test_off_a_terminal_all_faults_come_at_once(tmp_path: Path) -> None:
    root = home(tmp_path / "home", "garage", "attic")
    ran = CliRunner().invoke(
        app,
        ["new", str(tmp_path / "r"), "-c", str(root), "--unit", "Corvane R-40", "--kind",
         "reciever", "--date", "3/4/2024", "--bench", "garag", "--serial", "1", "--serial", "2"],
    )  # fmt: skip
    text = str(ran.exception)
    for words in (
        "write 2024-03-04 for 4 March 2024, or 2024-04-03 for 3 April 2024",
        "--unit: found 'Corvane R-40'", "write --unit corvane-r-40 --maker Corvane --model R-40",
        "did you mean receiver?", "--date", "did you mean garage?", "--mains-hz: missing",
        "--serial", "--technology: missing", "--state: missing", "--maker: missing",
    ):  # fmt: skip
        assert words in text, text
    assert not (tmp_path / "r").exists()


@pytest.mark.parametrize(
    ("name", "text", "meant"),
    [
        ("kind", "reciever", "receiver"), ("kind", "Integrated", "integrated amplifier"),
        ("kind", "Preamp", "preamplifier"), ("kind", "p", None), ("kind", "amplifier", None),
        ("technology", "valves", "tube"), ("technology", "solid-state", "solid state"),
        ("technology", "steam", None), ("state", "as recieved", "as received"),
        ("state", "servised", "serviced"), ("state", "res", "restored"),
    ],
)  # fmt: skip
def test_near_misses(name: str, text: str, meant: str | None) -> None:
    assert likely(text, choices()[name]) == meant


@pytest.mark.parametrize(
    ("text", "key"),
    [("Corvane R-40", "corvane-r-40"), ("  Heron  40 (b) ", "heron-40-b"), ("Ω", ""), ("", "")],
)
def test_a_key_from_a_name(text: str, key: str) -> None:
    assert key_of(text) == key


def test_quantities_that_can_t_be_read_come_at_once(tmp_path: Path) -> None:
    words = ["new", str(tmp_path / "r"), "--mains-hz", "50 V", "--rated-power-w", "forty"]
    ran = CliRunner().invoke(app, words)
    faults = str(ran.exception).splitlines()[1:]
    assert [fault.split(":")[0].strip() for fault in faults] == ["--mains-hz", "--rated-power-w"]
