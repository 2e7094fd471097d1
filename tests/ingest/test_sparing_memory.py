"""Reviews are loaded in little memory, and in more where that doesn't do."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from backbench.ingest import run_ingest
from backbench.storage import database
from backbench.storage.database import Database, OutOfMemory
from simulated import simulated_catalogue

TOO_LITTLE = "1MB"


def test_what_does_not_fit_is_loaded_in_more_memory(
    tmp_path: Path, circuits: Path, measured_once: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    tries: list[tuple[bool, bool]] = []

    @contextmanager
    def noted(folder: Path, *, lean: bool = False) -> Iterator[Database]:
        try:
            with database.writing(folder, lean=lean) as store:
                yield store
        except OutOfMemory:
            tries.append((lean, False))
            raise
        tries.append((lean, True))

    catalogue = simulated_catalogue(tmp_path / "catalogue")
    run_ingest.prepare(catalogue.places)
    monkeypatch.setitem(database.LEAN_WRITER, "memory_limit", TOO_LITTLE)
    monkeypatch.setattr(run_ingest, "writing", noted)
    (outcome,), refused = catalogue.ingest(
        [circuits / "single_ended_stage"], history=False, processes=1
    )
    assert not refused
    assert outcome.ended.captures
    assert tries[-2:] == [(True, False), (False, True)]
    assert len(catalogue.places.ledger.receipts()) == 1
    assert catalogue.readings().height
