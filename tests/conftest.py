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

LONG = (
    "tests/test_demo.py", "tests/ingest/test_cluster.py", "tests/browser/test_site_in_a_browser.py",
    "tests/test_spoiled_sessions.py", "tests/backfill/test_messy_spreadsheet.py",
    "tests/faults/", "tests/seed_dataset/test_written_reviews.py", "tests/test_run_server.py",
    "tests/ingest/test_order_of_work.py", "tests/test_bench_day.py", "tests/test_watch.py",
    "tests/ingest/test_other_kernels.py", "tests/test_own_circuits.py", "tests/test_additions.py",
)  # fmt: skip
"""Files that take longest, begun first: a file is one worker's, and the last one is waited for."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long files first; the order within a file stays."""
    items.sort(key=lambda item: not item.nodeid.startswith(LONG))


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
