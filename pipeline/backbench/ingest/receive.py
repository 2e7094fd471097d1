"""A review folder's manifest and files into the vault; a receipt drafted."""

from __future__ import annotations

import datetime as dt
import shlex
import stat
from collections.abc import Collection
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

from backbench.documents.accepted_manifest import accepted_manifest
from backbench.documents.file_names import MANIFEST_NAME
from backbench.documents.manifest import Manifest, read_manifest
from backbench.documents.validation import read_bytes
from backbench.errors import Fault, UserError, did_you_mean
from backbench.ingest.analysis_plan import named_files
from backbench.ingest.capture_files import recordings
from backbench.ingest.review_names import withdrawn_fault
from backbench.quantities.counts import counted
from backbench.storage.vault import Receipt, Received, Vault

AT_A_TIME = 8
"""Files brought to the disk at a time: it takes several in little more time than one."""


@dataclass(frozen=True)
class WrittenReview:
    """A review that has no folder: its manifest was written from a record, which is kept too.

    source: the record. beside: further files to keep with it.
    """

    text: str
    source: Path
    beside: tuple[Path, ...] = ()

    def __str__(self) -> str:
        return str(self.source)


def receive(
    folder: Path | WrittenReview, vault: Vault, newest: dict[str, Receipt]
) -> tuple[Manifest, Receipt]:
    """Read a review folder and keep its originals. Raises UserError where nothing of it stands.

    The receipt is numbered 0 until it is written; where nothing changed it is the newest one.
    A file that can't be had is noted in the receipt with the reason; the rest is kept.
    """
    if isinstance(folder, WrittenReview):
        return _receive_written(folder, vault, newest)
    path = folder / MANIFEST_NAME
    manifest, sha256 = _kept_manifest(path, vault)
    _refuse_unnamed(manifest, folder)
    before = newest.get(manifest.review.key)
    if before is not None and sha256 != before.manifest:
        _refuse_other_review(manifest, folder, before, vault)
    home = folder.resolve()
    named = named_files(manifest)
    files = _received_files(home, named, vault)
    draft = Receipt(0, manifest.review.key, str(home), sha256, files)
    if before is not None:
        if before.withdrawn and replace(before, withdrawn=None).same_content(draft):
            _refuse_withdrawn(before, str(path))
        if before.same_content(draft):
            return manifest, before
    return manifest, draft


def _received_files(home: Path, named: Collection[str], vault: Vault) -> dict[str, Received]:
    """Files of a resolved folder into the vault. Whoever waits for the disk lets others go on."""
    with ThreadPoolExecutor(AT_A_TIME) as several:
        received = several.map(lambda name: received_file(home, name, vault, named), named)
        return dict(zip(named, received, strict=True))


def _refuse_unnamed(manifest: Manifest, folder: Path) -> None:
    """A review without a capture is one of entered figures or notes, unless something was recorded
    that it doesn't name."""
    if manifest.capture or any(entry.table == "capture" for entry in manifest.refused):
        return
    unnamed = [path.relative_to(folder).as_posix() for path in recordings(folder)]
    if unnamed:
        files = f"{counted(len(unnamed), 'recording')} in the folder, {unnamed[0]} first"
        fault = Fault(
            str(folder / MANIFEST_NAME), f"no [[capture]], but {files}", "an entry for each",
            f"`backbench check {shlex.quote(str(folder))} --accept` adds them",
        )  # fmt: skip
        raise UserError("nothing of it would be measured", [fault])


def _refuse_withdrawn(before: Receipt, where: str) -> None:
    """A withdrawn review stays withdrawn until it is restored, or corrected in its own folder."""
    if before.withdrawn is None:
        return
    fault = withdrawn_fault(f"{where}, review {before.review!r}", before)
    raise UserError(f"{before.review} stays withdrawn", [fault])


def _receive_written(
    written: WrittenReview, vault: Vault, newest: dict[str, Receipt]
) -> tuple[Manifest, Receipt]:
    """The manifest and the record. A record that changed elsewhere leaves the receipt as it is."""
    data = written.text.encode()
    manifest = read_manifest(data, str(written.source))
    before = newest.get(manifest.review.key)
    if before is not None:
        _refuse_withdrawn(before, str(written.source))
        earlier = recall(before, vault)
        if earlier.capture:
            raise _used_key(manifest, written, before)
        # The content counts, not its spacing: another version may lay the text out differently.
        if earlier == manifest:
            return manifest, before
    sha256 = vault.put_bytes(data)
    files = {path.name: Received(*vault.put(path)) for path in (written.source, *written.beside)}
    return manifest, Receipt(
        0, manifest.review.key, str(written.source.resolve()), sha256, files
    )  # fmt: skip


def _used_key(manifest: Manifest, written: WrittenReview, before: Receipt) -> UserError:
    """A record never takes the place of a review that has captures."""
    fault = Fault(
        f"{written.source}, review {manifest.review.key!r}", "a used key",
        f"a key of its own: it names a review with captures from {before.folder}",
        "give the old record another key",
    )  # fmt: skip
    return UserError(f"{manifest.review.key} is already the key of another review", [fault])


def recall(receipt: Receipt, vault: Vault) -> Manifest:
    """The manifest of a receipt, from the vault. Raises UserError."""
    return accepted_manifest(vault.read(receipt.manifest), f"{receipt.review}/{MANIFEST_NAME}")


def _kept_manifest(path: Path, vault: Vault) -> tuple[Manifest, str]:
    data = read_bytes(path, "the review")
    manifest = accepted_manifest(data, str(path))
    return manifest, vault.put_bytes(data)


def received_file(home: Path, name: str, vault: Vault, named: Collection[str]) -> Received:
    """One file of a resolved folder into the vault. Links that leave it and devices are not
    followed. named: every file of the manifest; another may be meant by one that isn't there."""
    path = home / name
    try:
        if not _lies_in(path, home):
            if not path.resolve(strict=True).is_relative_to(home):
                return Received(None, None, "it leads out of the review's folder")
            if not path.is_file():
                return Received(None, None, "not a regular file")
        return Received(*vault.put(path), written=day_written(path))
    except FileNotFoundError:
        present = [one.relative_to(home).as_posix() for one in path.parent.glob("*")]
        slashed = name.replace("\\", "/")  # as another system writes the path of a file
        meant = (home / slashed).resolve()
        present += [slashed] * (meant.is_relative_to(home) and meant.is_file())
        suggestion = did_you_mean(name, [other for other in present if other not in named])
        return Received(None, None, "; ".join(filter(None, ["no such file", suggestion])))
    except (OSError, RuntimeError) as error:
        return Received(None, None, getattr(error, "strerror", None) or "it can't be read")


def _lies_in(path: Path, home: Path) -> bool:
    """Whether a path is that of a regular file right in a resolved folder, and no link.

    Told by one look at it: following every part of a path costs several times as much.
    """
    return path.parent == home and stat.S_ISREG(path.lstat().st_mode)


def day_written(path: Path) -> str:
    """The day on which a file was last written. Raises OSError."""
    return dt.date.fromtimestamp(path.stat().st_mtime).isoformat()


def _refuse_other_review(manifest: Manifest, folder: Path, before: Receipt, vault: Vault) -> None:
    """A second review under a used key: another folder, with another date or other units."""
    if before.folder == str(folder.resolve()):
        return
    earlier = recall(before, vault)
    same_units = {u.key for u in earlier.unit} == {u.key for u in manifest.unit}
    if earlier.review.date == manifest.review.date and same_units:
        return
    fault = Fault(
        f"{folder / MANIFEST_NAME}, review.key", f"{manifest.review.key!r}, a used key",
        f"a key of its own: it names the review of {earlier.review.date} from {before.folder}",
        "give this review another key",
    )  # fmt: skip
    raise UserError(f"{manifest.review.key} is already the key of another review", [fault])
