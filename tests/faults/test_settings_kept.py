"""Versions of the settings are kept with the receipts, and come back."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from backbench.catalogue import Catalogue
from backbench.errors import UserError
from backbench.maintenance.backup import backup, restore
from backbench.maintenance.verify import verify
from backbench.progress import nothing
from backbench.storage.settings_history import kept_settings
from faults.small_catalogue import set_calibration, small_catalogue, write_review


def ingested(tmp_path: Path) -> Catalogue:
    catalogue = small_catalogue(tmp_path / "catalogue")
    write_review(tmp_path / "auk", 0)
    catalogue.ingest([tmp_path / "auk"], history=False, processes=1)
    set_calibration(catalogue, 12.0)
    catalogue.recompute(history=False, processes=1)
    return catalogue


def test_each_version_is_kept_once_and_carried_by_a_backup(tmp_path: Path) -> None:
    catalogue = ingested(tmp_path)
    catalogue.recompute(history=False, processes=1)
    ledger = catalogue.places.ledger.folder
    older, newer = kept_settings(ledger)
    assert "1 = 10.0" in older.read_text()
    assert newer.read_bytes() == (catalogue.places.root / "backbench.toml").read_bytes()
    backup(catalogue.places, tmp_path / "backup", nothing)
    restore(Catalogue(tmp_path / "backup").places, tmp_path / "again", nothing)
    again = Catalogue(tmp_path / "again").places
    assert [path.name for path in kept_settings(again.ledger.folder)] == [older.name, newer.name]
    assert not verify(again, nothing).faults


def test_lost_settings_are_named_with_the_copy_that_stands(tmp_path: Path) -> None:
    catalogue = ingested(tmp_path)
    settings = catalogue.places.root / "backbench.toml"
    settings.write_bytes(b"")
    (fault,) = [f for f in verify(catalogue.places, nothing).faults if "no settings" in str(f)]
    settings.unlink()
    with pytest.raises(UserError, match=r"copy .*toml to backbench.toml"):
        Catalogue(catalogue.places.root)
    newest = kept_settings(catalogue.places.ledger.folder)[-1]
    assert str(newest) in str(fault)
    shutil.copy(newest, settings)
    settings.chmod(0o644)
    assert not verify(Catalogue(catalogue.places.root).places, nothing).faults


def test_a_damaged_version_is_a_fault(tmp_path: Path) -> None:
    catalogue = ingested(tmp_path)
    newest = kept_settings(catalogue.places.ledger.folder)[-1]
    newest.chmod(0o644)
    newest.write_text("spoiled")
    assert any("changed bytes" in str(f) for f in verify(catalogue.places, nothing).faults)
