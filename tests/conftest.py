"""Fixtures that several parts of the tests use."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from backbench import store
from backbench.catalogue import Catalogue

TESTS = Path(__file__).parent
CIRCUITS = TESTS / "simulated_circuits"
CASES = ("single_ended_stage", "push_pull_taps", "class_b_power_steps", "coupled_stage_sweep")


def contents_of(folder: Path) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table of a catalogue's database, sorted: what "equal" means here."""
    with store.reading(folder) as opened:
        return {name: sorted(opened.rows(f"FROM {name}"), key=repr) for name in opened.tables()}


def simulated_catalogue(folder: Path) -> Catalogue:
    """An empty catalogue with the bench of the simulated circuits."""
    return Catalogue.create(folder, (CIRCUITS / "backbench.toml").read_text())


@pytest.fixture
def circuits(tmp_path: Path) -> Path:
    """A copy of the simulated circuits' review folders that a test may change."""
    copy = tmp_path / "reviews"
    for case in CASES:
        shutil.copytree(CIRCUITS / case, copy / case)
    return copy


@pytest.fixture(scope="session")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    """A catalogue with all simulated circuits taken in. Not to be changed."""
    catalogue = simulated_catalogue(tmp_path_factory.mktemp("measured") / "catalogue")
    outcomes, refused = catalogue.ingest([CIRCUITS / case for case in CASES], history=False)
    assert not refused
    assert [outcome.failed for outcome in outcomes] == [()] * len(CASES)
    return catalogue
