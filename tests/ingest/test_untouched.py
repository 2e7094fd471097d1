"""Folders of which nothing was touched are not read again; all others are."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from backbench.catalogue import Catalogue
from backbench.ingest import run_ingest, untouched
from backbench.ingest.run_ingest import Outcome
from backbench.ingest.untouched import RECORD
from faults.small_catalogue import set_calibration, small_catalogue, write_review


@pytest.fixture
def old_files(monkeypatch: pytest.MonkeyPatch) -> None:
    """Files that were written just now count as old."""
    monkeypatch.setattr(untouched, "GRAIN_NS", -3_600_000_000_000)


@pytest.fixture
def catalogue(tmp_path: Path) -> Catalogue:
    for name in ("auk", "brant"):
        write_review(tmp_path / name, 0)
    return small_catalogue(tmp_path / "catalogue")


@pytest.fixture
def read(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of the folders that are read."""
    names: list[str] = []
    receive = run_ingest.receive

    def seen(folder: Path, *others: object) -> object:
        names.append(folder.name)
        return receive(folder, *others)  # type: ignore[arg-type]

    monkeypatch.setattr(run_ingest, "receive", seen)
    return names


def ingested(catalogue: Catalogue) -> list[Outcome]:
    folders = [catalogue.places.root.parent / name for name in ("auk", "brant")]
    outcomes, refused = catalogue.ingest(folders, history=False, processes=1)
    assert not refused
    return outcomes


def twice(catalogue: Catalogue, read: list[str]) -> list[Outcome]:
    """Taken in, and found to be unchanged; how that ended."""
    ingested(catalogue)
    outcomes = ingested(catalogue)
    assert read == 2 * ["auk", "brant"]
    assert all(outcome.unchanged for outcome in outcomes)
    read.clear()
    return outcomes


@pytest.mark.usefixtures("old_files")
def test_an_untouched_folder_ends_as_before_without_being_read(
    catalogue: Catalogue, read: list[str]
) -> None:
    before = twice(catalogue, read)
    assert ingested(catalogue) == before
    assert not read


def test_files_that_were_changed_just_now_are_read_again(
    catalogue: Catalogue, read: list[str]
) -> None:
    twice(catalogue, read)
    ingested(catalogue)
    assert read == ["auk", "brant"]


def same_length_and_day(path: Path) -> None:
    """Another byte, and the time of the last change set back by hand."""
    before = path.stat()
    data = bytearray(path.read_bytes())
    data[-1] ^= 1
    mode = before.st_mode
    path.chmod(0o644)
    path.write_bytes(data)
    path.chmod(mode)
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert path.stat().st_mtime_ns == before.st_mtime_ns


def change_capture(catalogue: Catalogue) -> None:
    same_length_and_day(catalogue.places.root.parent / "auk" / "tone.wav")


def damage_original(catalogue: Catalogue) -> None:
    sha256 = catalogue.places.ledger.newest()["auk"].files["tone.wav"].sha256
    assert sha256 is not None
    same_length_and_day(catalogue.places.vault.path(sha256))


def lose_receipt(catalogue: Catalogue) -> None:
    ledger = catalogue.places.ledger
    ledger.path(ledger.newest()["auk"].number).unlink()


def lose_rows(catalogue: Catalogue) -> None:
    from backbench.storage.database import writing

    with writing(catalogue.places.database) as store:
        store.run("DELETE FROM capture WHERE review_key = 'auk' AND position = 1")


@pytest.mark.usefixtures("old_files")
@pytest.mark.parametrize("change", [change_capture, damage_original, lose_receipt, lose_rows])
def test_what_was_touched_is_read_again_alone(
    catalogue: Catalogue, read: list[str], change: Callable[[Catalogue], None]
) -> None:
    twice(catalogue, read)
    change(catalogue)
    outcomes = {one.review: one for one in ingested(catalogue)}
    assert read == ["auk"]
    assert outcomes["brant"].unchanged
    # What was lost is there again.
    sha256 = catalogue.places.ledger.newest()["auk"].files["tone.wav"].sha256
    assert sha256 is not None
    assert catalogue.places.vault.read(sha256)
    assert len(catalogue.frame("FROM capture WHERE review_key = 'auk'")) == 2


@pytest.mark.usefixtures("old_files")
def test_other_settings_have_every_folder_read(catalogue: Catalogue, read: list[str]) -> None:
    twice(catalogue, read)
    set_calibration(catalogue, 11.0)
    assert not any(outcome.unchanged for outcome in ingested(catalogue))
    assert read == ["auk", "brant"]


@pytest.mark.usefixtures("old_files")
@pytest.mark.parametrize("text", ["", "[]", "{", '{"/": 1}', "null"])
def test_a_record_that_says_nothing_is_a_matter_of_speed_alone(
    catalogue: Catalogue, read: list[str], text: str
) -> None:
    before = twice(catalogue, read)
    record = catalogue.places.root / RECORD
    record.write_text(text)
    assert ingested(catalogue) == before
    assert read == ["auk", "brant"]
