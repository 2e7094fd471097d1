"""Listening notes and tags of a unit: kept, found, and shown on its sheet."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app
from faults.small_catalogue import small_catalogue, write_review

HEARD = 'state = "serviced"\ntags = ["Horn system", "loan"]\nlistening = "Hum, & a <faint> hiss."'


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    """Two reviews, of which the first has notes and tags."""
    folder = tmp_path_factory.mktemp("heard")
    for key in ("auk", "bat"):
        write_review(folder / key, 0)
    path = folder / "auk" / "review.toml"
    path.write_text(path.read_text().replace('state = "serviced"', HEARD))
    home = small_catalogue(folder / "home")
    _, refused = home.ingest([folder / "auk", folder / "bat"], history=False, processes=1)
    assert refused == []
    return home


def reviews(home: Catalogue, *words: str) -> tuple[int, str]:
    result = CliRunner().invoke(app, ["reviews", "-c", str(home.places.root), *words])
    return result.exit_code, result.output or str(result.exception)


def test_a_tag_finds_its_reviews(home: Catalogue) -> None:
    code, text = reviews(home, "--tag", "horn SYSTEM", "--format", "csv")
    assert code == 0
    assert "auk" in text
    assert "bat" not in text
    assert all(key in reviews(home, "--format", "csv")[1] for key in ("auk", "bat"))


def test_a_tag_that_no_review_has_is_a_fault_with_those_there_are(home: Catalogue) -> None:
    code, text = reviews(home, "--tag", "lone")
    assert code != 0
    assert "did you mean loan?" in text


def test_a_query_finds_words_of_the_notes(home: Catalogue) -> None:
    rows = home.query("listening-notes", text="HISS")
    assert rows["tags"].to_list() == ["Horn system, loan"]
    assert home.query("listening-notes", text="treble").is_empty()


def test_the_sheet_shows_them_as_text(home: Catalogue, tmp_path: Path) -> None:
    out = tmp_path / "auk.html"
    done = CliRunner().invoke(app, ["sheet", "auk", str(out), "-c", str(home.places.root)])
    assert done.exit_code == 0, done.output
    page = out.read_text()
    assert "Hum, &amp; a &lt;faint&gt; hiss." in page
    assert "<bdi>Horn system</bdi>, <bdi>loan</bdi>" in page
