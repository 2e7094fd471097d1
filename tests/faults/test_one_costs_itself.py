"""A review whose rows the database refuses costs itself alone, and gets no receipt."""

from __future__ import annotations

from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from typer.testing import CliRunner

from backbench.catalogue import Catalogue
from backbench.cli import app
from backbench.ingest import load, worker_pool
from backbench.maintenance.verify import verify
from backbench.progress import nothing
from backbench.storage.unfinished import note_unfinished, unfinished
from faults.small_catalogue import set_calibration, small_catalogue, write_review
from simulated import contents_of

POISONED = "auk"


@pytest.fixture
def catalogue(tmp_path: Path) -> Catalogue:
    for name in ("auk", "brant", "crake"):
        write_review(tmp_path / name, 0)
    return small_catalogue(tmp_path / "catalogue")


def poison(patched: pytest.MonkeyPatch) -> None:
    """Rows of one review break a rule of the schema."""
    facts = load._facts

    def broken(planned: Any) -> Any:
        tables = facts(planned)
        if planned.key == POISONED:
            tables["appearance"][0]["rated_power_w"] = -1.0
        return tables

    patched.setattr(load, "_facts", broken)


def taken_in(catalogue: Catalogue, folder: Path) -> tuple[list[str], list[str]]:
    folders = [folder / name for name in ("auk", "brant", "crake")]
    outcomes, refused = catalogue.ingest(folders, history=False, processes=1)
    return [one.review for one in outcomes], [f"{one.source}: {one.error}" for one in refused]


def rows_of_poisoned(catalogue: Catalogue) -> list[Any]:
    rows = catalogue.readings().filter(pl.col("review_key") == POISONED).rows()
    assert rows
    return rows


def test_what_cannot_be_loaded_gets_no_receipt(
    catalogue: Catalogue, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patched:
        poison(patched)
        done, (refused,) = taken_in(catalogue, tmp_path)
    assert done == ["brant", "crake"]
    assert refused.startswith("auk: ")
    assert "ConstraintException" in refused
    assert sorted(catalogue.places.ledger.newest()) == ["brant", "crake"]
    assert sorted(catalogue.reviews()["review_key"]) == ["brant", "crake"]
    report = verify(catalogue.places, nothing)
    assert (report.faults, report.gaps, report.receipts) == ([], [], 2)
    assert taken_in(catalogue, tmp_path) == (["auk", "brant", "crake"], [])


def test_recompute_goes_on_and_rebuild_keeps_the_old_database(
    catalogue: Catalogue, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    taken_in(catalogue, tmp_path)
    before = contents_of(catalogue.places.root)
    held = rows_of_poisoned(catalogue)
    poison(monkeypatch)
    rebuild = ["rebuild", "-c", str(catalogue.places.root), "--processes", "1"]
    ran = CliRunner().invoke(app, rebuild)
    assert ran.exit_code == 3
    assert "auk was not ingested" in ran.output
    assert "The present database is kept: without 1 review" in ran.output
    assert contents_of(catalogue.places.root) == before
    set_calibration(catalogue, 12.0)
    outcomes, (refused,) = catalogue.recompute(history=False, processes=1)
    assert [one.review for one in outcomes if one.computed] == ["brant", "crake"]
    assert refused.source == POISONED
    assert rows_of_poisoned(catalogue) == held
    ran = CliRunner().invoke(app, [*rebuild, "--accept-losses"])
    assert ran.exit_code == 3
    assert sorted(catalogue.reviews()["review_key"]) == ["brant", "crake"]


def test_what_an_ingest_carries_on_in_vain_is_among_the_refused(
    catalogue: Catalogue, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    taken_in(catalogue, tmp_path)
    set_calibration(catalogue, 12.0)
    note_unfinished(catalogue.places.ledger.folder, [POISONED])
    poison(monkeypatch)
    outcomes, (refused,) = catalogue.ingest([tmp_path / "brant"], history=False, processes=1)
    assert [one.review for one in outcomes] == ["brant"]
    assert refused.source == POISONED
    assert not unfinished(catalogue.places.ledger.folder)


def test_a_review_that_ends_its_workers_costs_itself(
    catalogue: Catalogue, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    analysed = worker_pool.Workers._analysed_here

    def ended(workers: worker_pool.Workers, work: Any) -> list[Path]:
        if work.planned.key == POISONED:
            raise BrokenProcessPool
        return analysed(workers, work)

    monkeypatch.setattr(worker_pool.Workers, "_analysed_here", ended)
    done, (refused,) = taken_in(catalogue, tmp_path)
    assert done == ["brant", "crake"]
    assert refused.startswith("auk: ")
