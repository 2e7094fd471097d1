"""The kept catalogue of every schema step opens, comes forward whole, is queried and added to."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from backbench.catalogue import Catalogue
from backbench.errors import UserError
from backbench.ingest import run_ingest
from backbench.maintenance.verify import verify
from backbench.storage import database
from faults.small_catalogue import write_review
from fixtures.make_schema import steps, unpacked

STEPS = steps()
NEWEST = len(database.migrations())
OF_REVIEWS = (
    "review", "appearance", "capture", "analysis", "analysis_capture", "reading", "curve",
)  # fmt: skip


def rows_as_then(root: Path, step: int, monkeypatch: pytest.MonkeyPatch) -> dict[str, list[Any]]:
    """Rows of the reviews' tables, read as a program of that step would."""
    every = database.migrations()
    with monkeypatch.context() as then:
        then.setattr(database, "migrations", lambda: every[:step])
        with database.reading(root) as opened:
            return {table: rows_of(opened, table) for table in OF_REVIEWS}


def rows_of(opened: database.Database, table: str) -> list[Any]:
    return sorted(opened.rows(f"FROM {table}"), key=repr)


def test_the_first_and_the_newest_step_are_kept() -> None:
    assert {STEPS[0], STEPS[-1]} == {"schema_0001", f"schema_{NEWEST:04d}"}, (
        "make the newest step's: python tests/fixtures/make_schema.py"
    )


@pytest.mark.parametrize("step", STEPS)
def test_a_kept_catalogue_comes_forward(
    step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    root = unpacked(step, tmp_path)
    catalogue, number = Catalogue(root), int(step[-4:])
    before = rows_as_then(root, number, monkeypatch)
    assert len(before["reading"]) > 50
    if number < NEWEST:
        with pytest.raises(UserError, match="older version"):
            catalogue.reviews()
    run_ingest.prepare(catalogue.places)
    with catalogue.reading() as opened:
        assert {table: rows_of(opened, table) for table in OF_REVIEWS} == before
    report = verify(catalogue.places, lambda _: None)
    assert (report.faults, report.gaps, report.orphans) == ([], [], [])
    assert report.readings == len(before["reading"])


@pytest.mark.parametrize("step", STEPS)
def test_a_kept_catalogue_is_queried_and_added_to(step: str, tmp_path: Path) -> None:
    catalogue = Catalogue(unpacked(step, tmp_path))
    write_review(tmp_path / "crake", 0)
    (outcome,), refused = catalogue.ingest([tmp_path / "crake"], history=False, processes=1)
    assert (outcome.failed, refused) == ((), [])
    outcomes, _ = catalogue.recompute(history=False, processes=1)
    assert [one.failed for one in outcomes] == [(), (), ()]
    with catalogue.reading():  # one connection for all
        for name, query in catalogue.queries().items():
            catalogue.query(name, **{p.name: "unit-of-auk" for p in query.parameters
                                     if p.type == "unit" and not p.default})  # fmt: skip
    held = dict(catalogue.readings().select("reading_key", "value").rows())
    outcomes, refused = catalogue.rebuild(processes=1)
    assert (len(outcomes), refused) == (3, [])
    assert dict(catalogue.readings().select("reading_key", "value").rows()) == held
    assert verify(catalogue.places, lambda _: None).faults == []
