"""Fixtures that several parts of the tests use."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from hypothesis import settings

from backbench.catalogue import Catalogue
from simulated import CASES, CIRCUITS, simulated_catalogue

# The first call of a measurement imports what it needs: no test asserts a time.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


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
