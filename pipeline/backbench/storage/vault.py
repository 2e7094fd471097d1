"""Originals, kept by the hash of their bytes and never rewritten; and the ledger of receipts."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

from backbench.documents.regular_files import open_regular, read_regular, reason_of
from backbench.errors import Fault, UserError
from backbench.storage.atomic_io import ASIDE, flush_file, make_folder, rename, write_aside
from backbench.storage.fault_injection import reached

BLOCK = 1 << 20
READ_AT_ONCE = 16 << 20
"""Bytes of a file that is read and hashed once; a larger one is hashed again as it is copied."""
RESTORE = "restore it from a backup"
NOT_WITHDRAWN = b'"withdrawn": null'
"""In the text of every receipt that doesn't withdraw: within a name, quotes are escaped."""
AGAIN = "remove it there and run again"
"""What to do about a damaged copy of an original that the vault itself has whole."""


class Vault:
    """Content-addressed files under one folder: vault/ab/<sha256>."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, sha256: str) -> Path:
        """Where the bytes with this hash are kept."""
        return self.folder / sha256[:2] / sha256

    def put(self, source: Path) -> tuple[str, int]:
        """Keep a file's bytes: hash and size. Raises OSError where it can't be read."""
        with open_regular(source) as stream:
            data = stream.read(READ_AT_ONCE + 1)
            if len(data) <= READ_AT_ONCE:
                return self.put_bytes(data), len(data)
            stream.seek(0)
            digest, size = hash_stream(stream)
            if self._holds(digest, size):
                return digest, size
            stream.seek(0)
            return self._keep(stream)

    def put_bytes(self, data: bytes) -> str:
        """Keep bytes; their hash."""
        digest = hashlib.sha256(data).hexdigest()
        if not self._holds(digest, len(data)):
            write_aside(self.path(digest), data)
        return digest

    def read(self, sha256: str) -> bytes:
        """The bytes with this hash. Raises UserError where they are missing or changed."""
        try:
            data = read_regular(self.path(sha256))
        except OSError as error:
            expected = "a file kept since it was received"
            fault = Fault(str(self.path(sha256)), reason_of(error), expected)
            raise UserError("the vault is incomplete", [fault]) from None
        if hashlib.sha256(data).hexdigest() != sha256:
            fault = Fault(str(self.path(sha256)), "changed bytes", "bytes as they were received")
            raise UserError("the vault is damaged", [fault])
        return data

    def _holds(self, sha256: str, size: int) -> bool:
        """Whether the file of this hash is there with its bytes; a damaged one is received anew."""
        try:
            with open_regular(self.path(sha256)) as stream:
                if os.fstat(stream.fileno()).st_size != size:
                    return False
                return hash_stream(stream) == (sha256, size)
        except OSError:
            return False

    def _keep(self, stream: BinaryIO) -> tuple[str, int]:
        """Copy to a file aside, flush, then rename to the hash of what was really copied."""
        make_folder(self.folder)
        handle, name = tempfile.mkstemp(prefix=ASIDE, dir=self.folder)
        aside = Path(name)
        try:
            with os.fdopen(handle, "wb") as copy:
                digest, size = hash_stream(stream, copy)
            aside.chmod(0o444)
            flush_file(aside)
            make_folder(self.path(digest).parent)
            rename(aside, self.path(digest))
        except BaseException:
            aside.unlink(missing_ok=True)
            raise
        return digest, size


def refuse_changed(path: Path, sha256: str, name: str) -> None:
    """Raise UserError, naming the original, where its kept bytes are missing or changed."""
    try:
        with open_regular(path) as stream:
            digest, _ = hash_stream(stream)
    except OSError as error:
        fault = Fault(name, f"{reason_of(error)} at {path}", "the bytes kept in the vault", RESTORE)
        raise UserError("the vault is incomplete", [fault]) from None
    if digest != sha256:
        fault = Fault(name, f"changed bytes at {path}", "bytes as they were received", RESTORE)
        raise UserError("the vault is damaged", [fault])


def hash_stream(stream: BinaryIO, copy: BinaryIO | None = None) -> tuple[str, int]:
    """sha256 and length of a stream, copied on the way where a copy is given."""
    digest, size = hashlib.sha256(), 0
    while block := stream.read(BLOCK):
        digest.update(block)
        size += len(block)
        if copy is not None:
            reached("write")
            copy.write(block)
    return digest.hexdigest(), size


@dataclass(frozen=True)
class Received:
    """A file that a manifest names: its hash and size, or why it can't be had.

    written: the day on which it was last written where it came from; no part of its content.
    """

    sha256: str | None
    bytes: int | None
    reason: str | None = None
    written: str | None = field(default=None, compare=False)


@dataclass(frozen=True)
class Receipt:
    """One accepted version of a review: the manifest and the files that it named then.

    withdrawn: why the review is left out of the database, where it is; everything is kept.
    """

    number: int
    review: str
    folder: str
    manifest: str
    files: dict[str, Received]
    withdrawn: str | None = None

    def same_content(self, other: Receipt) -> bool:
        """Whether manifest and files are equal byte for byte."""
        return (self.manifest, self.files, self.withdrawn) == (
            other.manifest, other.files, other.withdrawn,
        )  # fmt: skip


class Ledger:
    """Receipts as numbered JSON files. With vault and settings, all that a rebuild needs."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, number: int) -> Path:
        """Where the receipt of this number is."""
        return self.folder / f"{number:06d}.json"

    def receipts(self) -> list[Receipt]:
        """All receipts in order. Raises UserError where one can't be read."""
        return [read_receipt(path) for path in sorted(self.folder.glob("[0-9]*.json"))]

    def next_number(self) -> int:
        """The number after the greatest that was given."""
        return max((int(path.stem) for path in self.folder.glob("[0-9]*.json")), default=0) + 1

    def newest(self) -> dict[str, Receipt]:
        """The newest receipt of each review, by key, in order of first receipt."""
        return {receipt.review: receipt for receipt in self.receipts()}

    def withdrawn(self) -> list[str]:
        """Reviews whose newest receipt withdraws them. Raises UserError as `receipts` does.

        Mostly there are none, which is told without unfolding a receipt.
        """
        if all(NOT_WITHDRAWN in path.read_bytes() for path in self.folder.glob("[0-9]*.json")):
            return []
        return [one.review for one in self.newest().values() if one.withdrawn is not None]

    def write(self, receipt: Receipt) -> None:
        """Record a receipt; it is on the disk when this returns."""
        files = {name: vars(received) for name, received in sorted(receipt.files.items())}
        content = {**vars(receipt), "files": files}
        text = json.dumps(content, ensure_ascii=False, indent=1, sort_keys=True) + "\n"
        write_aside(self.path(receipt.number), text.encode())


def read_receipt(path: Path) -> Receipt:
    """The receipt in a file. Raises UserError where it is no receipt, and OSError."""
    try:
        content: dict[str, Any] = json.loads(path.read_bytes())
        files = {name: Received(**received) for name, received in content.pop("files").items()}
        return Receipt(files=files, **content)
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        fault = Fault(str(path), f"unreadable text ({error})", "a receipt", "restore a backup")
        raise UserError("the ledger is damaged", [fault]) from None
