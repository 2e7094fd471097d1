"""The vault and the ledger: kept by hash, whole or not at all."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from backbench.errors import UserError
from backbench.storage import vault as vault_of_originals
from backbench.storage.vault import Ledger, Receipt, Received, Vault


@pytest.fixture(params=["read at once", "in blocks"])
def vault(tmp_path: Path, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Vault:
    """As files of either size are kept."""
    if request.param == "in blocks":
        monkeypatch.setattr(vault_of_originals, "READ_AT_ONCE", 0)
    return Vault(tmp_path / "vault")


def test_a_file_is_kept_under_its_own_hash(vault: Vault, tmp_path: Path) -> None:
    source = tmp_path / "capture"
    source.write_bytes(os.urandom(3_000_000))
    sha256, size = vault.put(source)
    assert (sha256, size) == (hashlib.sha256(source.read_bytes()).hexdigest(), 3_000_000)
    assert vault.read(sha256) == source.read_bytes()
    source.write_bytes(b"changed afterwards")
    assert len(vault.read(sha256)) == 3_000_000


def _as_written(path: Path) -> tuple[int, ...]:
    """What writing changes; that it was read, which the time of access tells, is no change."""
    known = path.stat()
    return known.st_ino, known.st_mode, known.st_size, known.st_mtime_ns, known.st_ctime_ns


def test_the_same_bytes_are_kept_once_and_never_rewritten(vault: Vault) -> None:
    sha256 = vault.put_bytes(b"same")
    before = _as_written(vault.path(sha256))
    assert vault.put_bytes(b"same") == sha256
    assert _as_written(vault.path(sha256)) == before
    assert not vault.path(sha256).stat().st_mode & 0o222


@pytest.mark.parametrize("damage", ["missing", "one bit", "cut short"])
def test_damage_is_named(vault: Vault, damage: str) -> None:
    sha256 = vault.put_bytes(b"original")
    path = vault.path(sha256)
    path.chmod(0o644)
    if damage == "missing":
        path.unlink()
    else:
        path.write_bytes(b"originam" if damage == "one bit" else b"orig")
    with pytest.raises(UserError) as caught:
        vault.read(sha256)
    assert sha256 in str(caught.value)


def test_nothing_is_left_of_a_copy_that_broke(
    vault: Vault, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = tmp_path / "capture"
    source.write_bytes(b"x" * 100)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="space"):
        vault.put(source)
    assert [p for p in vault.folder.rglob("*") if p.is_file()] == []


def test_receipts_come_back_in_order(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "ledger")
    files = {"a": Received("00", 1), "b": Received(None, None, "no such file")}
    written = [Receipt(n, f"r{n % 2}", "/x", "ab", files) for n in (1, 2, 3)]
    for receipt in written:
        ledger.write(receipt)
    assert ledger.receipts() == written
    assert ledger.newest() == {"r1": written[2], "r0": written[1]}


def test_withdrawn_are_those_whose_newest_receipt_says_so(tmp_path: Path) -> None:
    """A name that looks like the text of a receipt that doesn't withdraw misleads nobody."""
    ledger = Ledger(tmp_path / "ledger")
    files = {'"withdrawn": null': Received("00", 1)}
    for number, review, reason in ((1, "a", None), (2, "b", None)):
        ledger.write(Receipt(number, review, "/x", "ab", files, reason))
    assert ledger.withdrawn() == []
    ledger.write(Receipt(3, "b", "/x", "ab", files, "wrong load"))
    assert ledger.withdrawn() == ["b"]
    ledger.write(Receipt(4, "a", "/x", "ab", files, "wrong load"))
    ledger.write(Receipt(5, "b", "/x", "ab", files))
    assert ledger.withdrawn() == ["a"]


def test_a_damaged_receipt_is_named(tmp_path: Path) -> None:
    (tmp_path / "000001.json").write_text('{"number": 1')
    with pytest.raises(UserError, match="000001"):
        Ledger(tmp_path).receipts()


@pytest.mark.parametrize("damage", ["one bit", "cut short", "a pipe"])
def test_a_file_received_again_heals_a_damaged_original(
    vault: Vault, tmp_path: Path, damage: str
) -> None:
    source = tmp_path / "capture"
    source.write_bytes(b"original")
    for put in (lambda: vault.put(source)[0], lambda: vault.put_bytes(b"original")):
        sha256 = put()
        path = vault.path(sha256)
        path.chmod(0o644)
        if damage == "a pipe":
            path.unlink()
            os.mkfifo(path)
        else:
            path.write_bytes(b"originam" if damage == "one bit" else b"orig")
        assert put() == sha256
        assert vault.read(sha256) == b"original"
