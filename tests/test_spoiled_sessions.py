"""What check, ingest, show and sheet tell of sessions that were spoiled at the bench."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.ingest.run_ingest import prepare
from sheet_text import PICTURES
from spoiled_sessions import REVIEW, SOURCE, SPOILED, sound_session

pytestmark = pytest.mark.usefixtures("measured_once")
REFUSED_WHOLE = {"date before any calibration"}
"""Sessions of which nothing is taken in."""

TAKEN_IN = {*[*SPOILED][::3], *REFUSED_WHOLE}
"""Sessions that are ingested too: `check` does the same in a catalogue that it throws away.
tests/bench/spoiled_sessions.py does it with all of them."""
ON_SHEETS = {*[*SPOILED][::6]}
"""Sessions whose sheet is made too: it takes the reasons from where `show` takes them."""


def run(*words: str | Path) -> tuple[int, str]:
    """Exit code and all that was printed, in one line."""
    ran = CliRunner().invoke(app, [str(word) for word in words])
    if ran.exception and not isinstance(ran.exception, SystemExit):
        raise ran.exception
    return ran.exit_code, " ".join(ran.output.split())


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A catalogue that has a database, and nothing in it. Not to be changed."""
    folder = tmp_path_factory.mktemp("empty") / "home"
    prepare(Catalogue.create(folder, (SOURCE / "backbench.toml").read_text()).places)
    return folder


@pytest.fixture
def home(empty: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(empty, tmp_path / "home"))


def test_a_sound_session_is_whole(home: Path, tmp_path: Path) -> None:
    folder = sound_session(tmp_path / "review")
    code, text = run("check", folder, "-c", home)
    assert (code, "12 captures: 12 whole" in text, "0 faults" in text) == (0, True, True)
    code, text = run("ingest", folder, "-c", home, "--direct", "--processes", "1")
    assert (code, "12 captures: 12 whole" in text) == (0, True)


@pytest.mark.parametrize("name", SPOILED)
def test_a_spoiled_session_is_reported_everywhere(
    name: str, home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spoil, where, words = SPOILED[name]
    folder = sound_session(tmp_path / "review")
    spoil(folder)
    code, text = run("check", folder, "-c", home)
    assert words in text
    assert where in text
    assert (code, "0 faults" in text) == ((1, False) if where else (0, True))
    if name not in TAKEN_IN:
        return
    code, text = run("ingest", folder, "-c", home, "--direct", "--processes", "1")
    assert words in text
    assert code == (1 if name in REFUSED_WHOLE else 3 if where else 0)
    if name in REFUSED_WHOLE:
        return
    assert words in run("show", REVIEW, "-c", home)[1]
    if name not in ON_SHEETS:
        return
    monkeypatch.setattr(PICTURES, ())  # they tell no reason
    page = tmp_path / "sheet.html"
    assert run("sheet", REVIEW, page, "-c", home)[0] == 0
    assert words.replace("'", "&#39;") in " ".join(page.read_text().split())
