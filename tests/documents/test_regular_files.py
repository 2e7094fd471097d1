"""Files of the user are opened once, without waiting, and bounded in size."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from backbench.backfill.spreadsheet import read_sheet
from backbench.documents.regular_files import open_regular, read_regular
from backbench.errors import UserError
from backbench.ingest.inbox import settled
from backbench.readers.file_formats import read_recording
from backbench.storage.vault import Vault, refuse_changed
from faults.small_catalogue import small_catalogue, write_review


def test_bytes_of_a_file_and_its_bound(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"12345")
    assert read_regular(path, 5) == b"12345"
    with pytest.raises(OSError, match="5 bytes, more than 4"):
        read_regular(path, 4)


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("/dev/zero", "regular"),
        ("a\0b", "possible"),
        ("missing", "No such"),
        ("folder", "irectory|regular"),
    ],
)
def test_what_is_no_file_is_an_error_and_no_wait(tmp_path: Path, name: str, reason: str) -> None:
    (tmp_path / "folder").mkdir()
    with pytest.raises(OSError, match=reason):
        open_regular(tmp_path / name)


def test_pipes_are_refused_by_every_reader(tmp_path: Path) -> None:
    for name in ("sheet.csv", "tone.wav"):
        os.mkfifo(tmp_path / name)
    with pytest.raises(UserError):
        read_sheet(tmp_path / "sheet.csv")
    with pytest.raises(UserError, match="regular"):
        read_recording(tmp_path / "tone.wav")
    vault = Vault(tmp_path / "vault")
    with pytest.raises(OSError, match="regular"):
        vault.put(tmp_path / "tone.wav")
    held = vault.put_bytes(b"kept")
    vault.path(held).unlink()
    os.mkfifo(vault.path(held))
    with pytest.raises(UserError, match="regular"):
        vault.read(held)
    with pytest.raises(UserError, match="regular"):
        refuse_changed(vault.path(held), held, "tone.wav")
    assert vault.put_bytes(b"kept") == held
    assert vault.read(held) == b"kept"


def test_one_bad_folder_costs_itself(tmp_path: Path) -> None:
    catalogue = small_catalogue(tmp_path / "catalogue")
    inbox = tmp_path / "inbox"
    write_review(inbox / "auk", 0)
    for name in ("pipe", "null", "wild"):
        (inbox / name).mkdir()
    os.mkfifo(inbox / "pipe" / "review.toml")
    (inbox / "null" / "review.toml").write_bytes(b'[review]\nkey = "a\0b"\n')
    write_review(inbox / "wild", 0)
    manifest = inbox / "wild" / "review.toml"
    manifest.write_text(manifest.read_text().replace('"tone.wav"', '"to\\u0000ne.wav"'))
    done, refused = catalogue.ingest(settled(inbox, 0.0), history=False, processes=1)
    assert [outcome.review for outcome in done] == ["auk", "wild"]
    assert len(refused) == 2
    assert not catalogue.places.ledger.newest().keys() - {"auk", "wild"}
    (entry,) = (one for one in done[1].ended.captures if one.state == "refused")
    assert entry.file == "to?ne.wav"
