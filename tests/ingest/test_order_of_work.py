"""What lies in the database doesn't depend on how many processes worked, or in which order."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from backbench.catalogue import Catalogue
from backbench.ingest import worker_pool
from backbench.ingest.worker_pool import Workers
from simulated import CASES, CIRCUITS, contents_of, simulated_catalogue


def test_number_and_order_of_workers_leave_no_trace(
    tmp_path: Path, measured: Catalogue, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of three workers, and of reviews taken in the other way round, against one process."""
    monkeypatch.setattr(worker_pool, "WORTH_A_POOL", 1)
    started = []
    start = Workers._started

    def seen(self: Workers) -> Any:
        started.append(self)
        return start(self)

    monkeypatch.setattr(Workers, "_started", seen)
    together = simulated_catalogue(tmp_path / "together")
    folders = [CIRCUITS / case for case in reversed(CASES)]
    together.ingest(folders, history=False, processes=3)
    assert started
    expected, result = contents_of(measured.places.root), contents_of(together.places.root)
    # Which review was received first, the database rightly tells.
    del expected["review"], result["review"]
    but_for_it = "SELECT * EXCLUDE (receipt) FROM review ORDER BY review_key"
    assert measured.frame(but_for_it).equals(together.frame(but_for_it))
    assert expected.keys() == result.keys()
    for table, rows in expected.items():
        assert result[table] == rows, table
    assert result["reading"]
