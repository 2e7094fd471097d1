"""Snapshots: equal to the catalogue, never changed again, there whole or not at all."""

from __future__ import annotations

import hashlib
import os
import signal
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest

from backbench.catalogue import Catalogue
from backbench.errors import UserError
from backbench.export.snapshot import write_snapshot
from backbench.storage.database import reading_copy
from backbench.storage.fault_injection import VARIABLE
from faults.small_catalogue import small_catalogue, write_review
from simulated import contents_of

CODE = "import sys; from backbench.cli import main; sys.argv[0] = 'backbench'; main()"


@pytest.fixture
def small(tmp_path: Path) -> Catalogue:
    catalogue = small_catalogue(tmp_path / "catalogue")
    take_in(catalogue, tmp_path / "auk", 0)
    return catalogue


def take_in(catalogue: Catalogue, folder: Path, version: int) -> None:
    write_review(folder, version)
    outcomes, refused = catalogue.ingest([folder], history=False, processes=1)
    assert (len(outcomes), refused) == (1, [])


def sums(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*") if path.is_file()
    }  # fmt: skip


def test_both_forms_hold_every_row_of_every_table(measured: Catalogue, tmp_path: Path) -> None:
    made = write_snapshot(measured.places, tmp_path / "shared")
    assert (tmp_path / "shared" / "current").resolve() == made
    held = contents_of(measured.places.root)
    with reading_copy(made) as store:
        copied = {name: sorted(store.rows(f"FROM {name}"), key=repr) for name in store.tables()}
    assert copied == held
    for path in (made / "parquet").iterdir():
        rows = sorted(measured_rows(measured, path.stem), key=repr)
        assert sorted(pl.read_parquet(path).rows(), key=repr) == rows, path.stem
    written = {path.stem for path in (made / "parquet").iterdir()}
    assert written == {*held, "unit"} - {"migration", "value_at_point", "between_sessions"}
    assert all(path.stat().st_mode & 0o222 == 0 for path in made.rglob("*") if path.is_file())


def measured_rows(catalogue: Catalogue, table: str) -> list[tuple[object, ...]]:
    return catalogue.frame(f"FROM {table}").rows()


def test_its_readme_states_schema_methods_and_rows(measured: Catalogue, tmp_path: Path) -> None:
    printed = (write_snapshot(measured.places, tmp_path / "shared") / "README.md").read_text()
    for number, name, checksum in measured.frame("FROM migration").rows():
        assert f"| {number} | {name} | {checksum} |" in printed
    for metric, unit, version in measured.frame(
        "SELECT metric, unit, method_version FROM metric"
    ).rows():
        assert f"| {metric} | {unit} | {version} |" in printed
    assert f"| reading | {measured.readings().height} |" in printed


def test_a_snapshot_that_is_open_stays_as_it_is(small: Catalogue, tmp_path: Path) -> None:
    shared = tmp_path / "shared"
    first = write_snapshot(small.places, shared)
    before = sums(first)
    with reading_copy(shared / "current") as store:
        reviews = store.rows("SELECT review_key FROM review")
        take_in(small, tmp_path / "tern", 0)
        second = write_snapshot(small.places, shared)
        assert store.rows("SELECT review_key FROM review") == reviews == [("auk",)]
    assert sums(first) == before
    assert (shared / "current").resolve() == second != first
    assert pl.read_parquet(shared / "current" / "parquet" / "review.parquet").height == 2


@pytest.mark.parametrize("point", ["rename:1", "rename:2", "renamed:1", "write:3"])
def test_one_that_breaks_off_leaves_the_last_in_its_place(
    point: str, small: Catalogue, tmp_path: Path
) -> None:
    shared = tmp_path / "shared"
    first = write_snapshot(small.places, shared)
    words = [sys.executable, "-c", CODE, "snapshot", str(shared), "-c", str(small.places.root)]
    ran = subprocess.run(words, env={**os.environ, VARIABLE: f"{point}:kill"}, check=False)
    assert ran.returncode == -signal.SIGKILL
    assert (shared / "current").resolve() == first
    made = write_snapshot(small.places, shared)
    assert (shared / "current").resolve() == made
    whole = {path.name: {*sums(path)} for path in shared.glob("snapshot-*")}
    assert all(files == {*sums(first)} for files in whole.values())
    assert not list(shared.glob(".making-*"))


def test_a_folder_with_something_else_is_never_written_into(
    small: Catalogue, tmp_path: Path
) -> None:
    before = sums(small.places.root)
    for folder in (small.places.root, tmp_path):
        with pytest.raises(UserError, match="a new or empty folder, or snapshots"):
            write_snapshot(small.places, folder)
    assert sums(small.places.root) == before
    empty = small_catalogue(tmp_path / "empty")
    with pytest.raises(UserError, match="ingest one first"):
        write_snapshot(empty.places, tmp_path / "shared")
    assert not (tmp_path / "shared").exists()
