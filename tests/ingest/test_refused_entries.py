"""A faulty entry of a manifest costs itself alone, and everything that looks at it says so."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile
from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.documents.accepted_manifest import accepted_manifest
from backbench.errors import UserError
from backbench.maintenance.verify import verify
from faults.small_catalogue import small_catalogue, write_review

pytestmark = pytest.mark.usefixtures("measured_once")
RATE = 48000
FAULTY = {
    "stimulus": (
        '[[capture]]\nfile = "odd.wav"\nstimulus = { tone_khz = 1, generator_vrms = 1 }\n',
        "odd.wav", "did you mean tone_hz?",
    ),
    "no stimulus": ('[[capture]]\nfile = "odd.wav"\n', "odd.wav", "stimulus: missing"),
    "unknown key": (
        '[[capture]]\nfile = "odd.wav"\nstimulus = { idle = "shorted" }\nlop_back = true\n',
        "odd.wav", "did you mean loop_back?",
    ),
    "unknown unit": (
        '[[capture]]\nfile = "odd.wav"\nstimulus = { idle = "shorted" }\n'
        'tracks = { 1 = { unit = "unit-of-auks", output = "out" } }\n',
        "odd.wav", "did you mean unit-of-auk?",
    ),
    "published": (
        '[[unit.published]]\nmetric = "thdd"\nat_most = "1 %"\nprinted_in = "manual"\n',
        "thdd", "did you mean",
    ),
    "entered": (
        '[[entered]]\nmetric = "thd"\nunit = "unit-of-auk"\noutput = "out"\nvalue = "half"\n'
        'origin = "page 1"\n', "thd", "'half'",
    ),
    "photograph": ('[[photograph]]\nfile = "front.jpg"\n', "front.jpg", "caption: missing"),
}  # fmt: skip


def sound_review(folder: Path) -> None:
    """A tone that is long enough to be measured, and a table."""
    write_review(folder, 0)
    noise = np.random.default_rng(5).normal(size=2 * RATE)
    wave = 0.3 * np.sin(2 * np.pi * 1000 * np.arange(2 * RATE) / RATE) + 1e-4 * noise
    soundfile.write(folder / "tone.wav", wave, RATE, subtype="PCM_24")


def with_entry(folder: Path, entry: str) -> Path:
    """A review of which everything stands but one entry more."""
    sound_review(folder)
    path = folder / "review.toml"
    path.write_text(path.read_text().replace("\n[tracks]", f"\n{entry}\n[tracks]", 1))
    shutil.copy(folder / "tone.wav", folder / "odd.wav")
    return folder


def run(*words: str | Path) -> tuple[int, str]:
    """Exit code and all that was printed, in one line."""
    ran = CliRunner().invoke(app, [str(word) for word in words])
    if ran.exception and not isinstance(ran.exception, SystemExit):
        raise ran.exception
    return ran.exit_code, " ".join(ran.output.split())


@pytest.mark.parametrize("kind", FAULTY)
def test_a_faulty_entry_costs_itself_alone(
    kind: str, tmp_path: Path, sound_metrics: list[str]
) -> None:
    entry, name, words = FAULTY[kind]
    folder = with_entry(tmp_path / "auk", entry)
    catalogue = small_catalogue(tmp_path / "home")
    home = catalogue.places.root
    code, text = run("check", folder, "-c", home)
    assert (code, words in text, "0 faults" in text) == (1, True, False)
    code, text = run("ingest", folder, "-c", home, "--direct", "--processes", "1")
    assert (code, "2 whole" in text) == (3, True)
    assert f"{name}: refused: " in text
    assert words in text
    code, text = run("show", "auk", "-c", home)
    assert (code, f"{name}: refused: " in text, words in text) == (0, True, True)
    assert "2 whole" in run("reviews", "-c", home)[1]
    assert sorted(catalogue.readings()["metric"].unique()) == sound_metrics
    report = verify(catalogue.places, lambda _: None)
    assert (report.faults, report.gaps) == ([], [])
    code, text = run("recompute", "-c", home, "--direct", "--processes", "1")
    assert (code, "unchanged" in text, f"{name}: refused: " in text) == (3, True, True)


@pytest.fixture(scope="module")
def sound_metrics(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Metrics of the review without the entry."""
    folder = tmp_path_factory.mktemp("sound")
    sound_review(folder / "auk")
    catalogue = small_catalogue(folder / "home")
    catalogue.ingest([folder / "auk"], history=False, processes=1)
    return sorted(catalogue.readings()["metric"].unique())


def test_the_entry_corrected_is_taken_in(tmp_path: Path) -> None:
    entry = FAULTY["published"][0]
    folder = with_entry(tmp_path / "auk", entry)
    catalogue = small_catalogue(tmp_path / "home")
    catalogue.ingest([folder], history=False, processes=1)
    assert catalogue.frame("FROM published").height == 0
    path = folder / "review.toml"
    path.write_text(path.read_text().replace("thdd", "thd"))
    (outcome,), _ = catalogue.ingest([folder], history=False, processes=1)
    assert outcome.ended.whole
    assert catalogue.frame("FROM published").height == 1
    assert catalogue.frame("FROM refused_entry").height == 0


COPY = '[[capture]]\nfile = "odd.wav"\nstimulus = { tone_hz = 1000, generator_vrms = 0.5 }\n'


def test_a_copy_of_a_recording_is_refused_and_the_first_stands(tmp_path: Path) -> None:
    folder = with_entry(tmp_path / "auk", "")
    path = folder / "review.toml"
    path.write_text(path.read_text() + "\n" + COPY)
    catalogue = small_catalogue(tmp_path / "home")
    (outcome,), refused = catalogue.ingest([folder], history=False, processes=1)
    assert refused == []
    states = {one.file: one.state for one in outcome.ended.captures}
    assert states == {"tone.wav": "whole", "response.csv": "whole", "odd.wav": "refused"}
    assert "the same recording as tone.wav" in str(outcome.ended.faulty[0].reason)
    (kept,), _ = catalogue.recompute(history=False, processes=1)
    assert (kept.unchanged, kept.ended) == (True, outcome.ended)


def test_of_two_entries_that_differ_over_one_file_neither_stands(tmp_path: Path) -> None:
    folder = with_entry(tmp_path / "auk", "")
    path = folder / "review.toml"
    path.write_text(path.read_text() + COPY.replace("odd", "tone").replace("0.5", "5"))
    manifest = accepted_manifest(path.read_bytes())
    assert [one.file for one in manifest.capture] == ["response.csv"]
    assert [entry.place for entry in manifest.refused] == [("capture", 1), ("capture", 3)]


def test_numbers_are_those_of_the_file(tmp_path: Path) -> None:
    folder = with_entry(tmp_path / "auk", FAULTY["no stimulus"][0])
    manifest = accepted_manifest((folder / "review.toml").read_bytes())
    numbered = dict(manifest.numbered(manifest.capture, "capture"))
    assert {n: one.file for n, one in numbered.items()} == {2: "tone.wav", 3: "response.csv"}


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('key = "unit-of-auk"', 'kay = "unit-of-auk"'), ("[conditions]", "[condition]"),
        ("mains_hz = 50", "mains_hz = 500"), ("stimulus", "stimuli"),
    ],
)  # fmt: skip
def test_what_is_of_the_whole_review_refuses_it(old: str, new: str, tmp_path: Path) -> None:
    write_review(tmp_path / "auk", 0)
    path = tmp_path / "auk" / "review.toml"
    with pytest.raises(UserError) as caught:
        accepted_manifest(path.read_text().replace(old, new).encode())
    assert caught.value.faults


def test_an_accepted_entry_beside_a_faulty_one(tmp_path: Path) -> None:
    """An entry that is suggested is added although another one is faulty."""
    folder = with_entry(tmp_path / "auk", FAULTY["published"][0])
    catalogue: Catalogue = small_catalogue(tmp_path / "home")
    code, text = run("check", folder, "--accept", "-c", catalogue.places.root)
    assert code == 1
    assert "odd.wav: not added: review.toml" not in text
