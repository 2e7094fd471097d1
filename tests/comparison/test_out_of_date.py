"""A calibration corrected and not yet recomputed: every figure that rests on it says so."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.comparison.stale_figures import MARK, REMEDY
from faults.small_catalogue import set_calibration, small_catalogue, write_review

FIVE_WATTS, CORRECTED = 29.8, 30.1
"""Volts at full scale with which the tone is taken at the test point of 5 W."""


def run(catalogue: Catalogue, *words: str) -> str:
    ran = CliRunner().invoke(app, [*words, "-c", str(catalogue.places.root)])
    if ran.exit_code and ran.exception:
        raise ran.exception
    return " ".join(ran.stdout.split())


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A catalogue of two reviews. Not to be changed."""
    folder = tmp_path_factory.mktemp("whole")
    made = small_catalogue(folder / "catalogue")
    set_calibration(made, FIVE_WATTS)
    wave = 0.3 * np.sin(2 * np.pi * 1000 * np.arange(96000) / 48000)
    noise = 1e-4 * np.random.default_rng(1).normal(size=wave.size)
    for name in ("auk", "brant"):
        write_review(folder / name, 0)
        soundfile.write(folder / name / "tone.wav", wave + noise, 48000, subtype="PCM_24")
    made.ingest([folder / "auk", folder / "brant"], history=False, processes=1)
    return made.places.root


@pytest.fixture
def catalogue(whole: Path, tmp_path: Path) -> Catalogue:
    return Catalogue(shutil.copytree(whole, tmp_path / "catalogue"))


def everywhere(catalogue: Catalogue) -> dict[str, str]:
    texts = {
        command: run(catalogue, command, key)
        for command, key in (("show", "auk"), ("readings", "auk"), ("compare", "unit-of-auk"))
    }
    run(catalogue, "publish", "--out", str(catalogue.places.root / "site"), "--processes", "1")
    texts["pair"] = run(catalogue, "pair", "unit-of-auk", "unit-of-brant")
    for page in ("sheets/auk", "units/unit-of-auk"):
        path = catalogue.places.root / "site" / f"{page}.html"
        texts[page] = " ".join(path.read_text().split())
    return texts


@pytest.mark.usefixtures("few_questions")
def test_every_view_says_what_is_out_of_date_until_it_is_recomputed(catalogue: Catalogue) -> None:
    before = everywhere(catalogue)
    assert not any(REMEDY in text or MARK in text for text in before.values())
    set_calibration(catalogue, CORRECTED)
    for place, text in everywhere(catalogue).items():
        assert "calibration of bench shed corrected since" in text, place
        assert REMEDY in text, place
    recomputed, _ = catalogue.recompute(history=False, processes=1)
    assert [one.unchanged for one in recomputed] == [False, False]
    assert not catalogue.stale().reviews
    assert not any(REMEDY in text for text in everywhere(catalogue).values())


def test_an_answer_and_its_chart_say_of_how_many_units(catalogue: Catalogue) -> None:
    """In the terminal, on the chart, and from Python."""
    name = "tone-spectrum-of-a-unit"

    def shown() -> tuple[str, ...]:
        spec = json.dumps(catalogue.chart(name, unit="unit-of-auk").to_dict())
        stated = catalogue.stated_query(name, catalogue.query(name, unit="unit-of-auk"))
        return run(catalogue, "query", name), spec, stated.conditions

    note = f"figures of 1 unit may be out of date: {MARK}"
    assert not any(note in text for text in shown())
    set_calibration(catalogue, CORRECTED)
    assert all(note in text for text in shown())


def test_each_figure_is_marked_and_those_of_a_table_file_are_not(catalogue: Catalogue) -> None:
    set_calibration(catalogue, CORRECTED)
    stale = catalogue.stale("auk")
    marked: dict[str, set[bool]] = {}
    for row in catalogue.readings().filter(review_key="auk").iter_rows(named=True):
        marked.setdefault(row["stimulus"], set()).add(
            stale.has(row["review_key"], row["analysis_key"])
        )
    assert marked["tone"] == {True}
    assert marked["response table"] == {False}
    lines = {line.metric: line for line in catalogue.compare("unit-of-auk").lines}
    assert lines["thd"].stale
    assert MARK in lines["thd"].note
    assert not lines["response_spread"].stale


def test_a_change_that_touches_no_figure_marks_none(catalogue: Catalogue) -> None:
    path = catalogue.places.root / "backbench.toml"
    path.write_text(path.read_text() + '[[loudspeaker]]\nname = "horn"\nsensitivity_db = 98\n')
    assert not catalogue.stale().reviews


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ("since = 2024-01-01", "since = 2024-03-01", "calibration"),
        ("load_uncertainty_percent = 0.3", "load_uncertainty_percent = 0.6",
         "uncertainty of the load"),
        ("generator_uncertainty_percent = 0.3", "generator_uncertainty_percent = 1",
         "uncertainty of the generator"),
        ("since = 2024-01-01", "since = 2025-01-01", "hold no calibration"),
    ],
)  # fmt: skip
def test_what_was_corrected_is_named(catalogue: Catalogue, old: str, new: str, what: str) -> None:
    path = catalogue.places.root / "backbench.toml"
    path.write_text(path.read_text().replace(old, new))
    stale: Any = catalogue.stale()
    assert set(stale.reviews) == {"auk", "brant"}
    assert what in stale.sentence("auk")
