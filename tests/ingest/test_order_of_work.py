"""What lies in the database doesn't depend on how many processes worked, or in which order."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from backbench.catalogue import Catalogue
from backbench.ingest import worker_pool
from backbench.ingest.worker_pool import Workers
from simulated import CASES, CIRCUITS, contents_of, simulated_catalogue


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    """What one process makes. Not to be changed."""
    catalogue = simulated_catalogue(tmp_path_factory.mktemp("alone") / "catalogue")
    catalogue.ingest([CIRCUITS / case for case in sorted(CASES)], history=False, processes=1)
    return catalogue


@pytest.mark.parametrize(("processes", "backwards"), [(2, False), (3, True)])
def test_number_and_order_of_workers_leave_no_trace(
    processes: int, backwards: bool, tmp_path: Path, alone: Catalogue,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    folders = [CIRCUITS / case for case in sorted(CASES)]
    monkeypatch.setattr(worker_pool, "WORTH_A_POOL", 1)
    started = []
    start = Workers._started

    def seen(self: Workers) -> Any:
        started.append(self)
        return start(self)

    monkeypatch.setattr(Workers, "_started", seen)
    together = simulated_catalogue(tmp_path / "together")
    together.ingest(folders[:: -1 if backwards else 1], history=False, processes=processes)
    assert started
    expected, result = contents_of(alone.places.root), contents_of(together.places.root)
    if backwards:  # which review was received first, the database rightly tells
        del expected["review"], result["review"]
        but_for_it = "SELECT * EXCLUDE (receipt) FROM review ORDER BY review_key"
        assert alone.frame(but_for_it).equals(together.frame(but_for_it))
    assert expected.keys() == result.keys()
    for table, rows in expected.items():
        assert result[table] == rows, table
    assert result["reading"]
