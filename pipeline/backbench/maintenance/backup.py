"""A catalogue copied to another folder, whole and verified; and brought back.

A backup is itself a catalogue: it opens anywhere. It is made while the catalogue is in use:
the database is copied while writers wait, then the receipts are listed, then come originals,
which are in the vault before any receipt names them.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from backbench.documents.file_names import SETTINGS_NAME
from backbench.errors import NOT_EMPTY, Fault, UserError
from backbench.maintenance.verify import named_originals, no_original, vault_files
from backbench.storage.atomic_io import ASIDE, flush_folder, make_folder, write_aside
from backbench.storage.catalogue_paths import CataloguePaths, places
from backbench.storage.database import DATABASE_NAME, IN_USE, MAKING, copy_database, take_place
from backbench.storage.fault_injection import reached
from backbench.storage.settings_history import FOLDER, kept_settings
from backbench.storage.vault import refuse_changed

MARK = ".backup-of"
"""A file that says whose backup a folder is, or is becoming."""
Progress = Callable[[int], None]


@dataclass
class Copied:
    """What a copy did: originals copied now and held from before, and what it found damaged."""

    copied: int = 0
    held: int = 0
    bytes: int = 0
    faults: list[Fault] = field(default_factory=list)


def backup(source: CataloguePaths, folder: Path, progress: Progress) -> Copied:
    """Bring a folder to the state of the catalogue; what it holds already is verified.

    Nothing is ever taken out of a backup. Raises UserError where the folder holds something
    else, or the backup of another catalogue. A damaged original that the backup lacks is reported,
    and the rest is copied; what the backup holds whole it keeps, however the catalogue fares.
    """
    target = places(folder)
    _refuse_overlap(source.root, folder)
    _refuse_stranger(source, target)
    make_folder(folder)
    write_aside(folder / MARK, f"{source.root.resolve()}\n".encode(), 0o644)
    return _copy(source, target, progress)


def restore(source: CataloguePaths, folder: Path, progress: Progress) -> Copied:
    """Make a catalogue from a backup, in a new or empty folder.

    Where the folder is a catalogue of the same ledger, only originals that it lacks or holds
    damaged, and receipts that it lacks, are brought back; its settings and database stay.
    Raises UserError as `backup` does.
    """
    target = places(folder)
    _refuse_overlap(source.root, folder)
    if (folder / SETTINGS_NAME).is_file() and not (folder / MARK).exists():
        _refuse_conflict(source, target)
        copied = Copied()
        with target.changing():
            receipts = _receipts(source)
            _copy_originals(source, target, copied, progress)
            _copy_receipts(receipts, target)
            _copy_kept_settings(source, target)
        return copied
    _refuse_stranger(source, target)
    make_folder(folder)
    write_aside(folder / MARK, b"being restored\n", 0o644)
    copied = _copy(source, target, progress)
    (folder / "published").mkdir(exist_ok=True)
    (folder / MARK).unlink()
    flush_folder(folder)
    return copied


def _copy(source: CataloguePaths, target: CataloguePaths, progress: Progress) -> Copied:
    """Everything that counts: the database after all that it names; last the settings, which
    make the folder a catalogue."""
    copied = Copied()
    for name in ("vault", "ledger", "queries"):
        make_folder(target.root / name)
    with (
        target.changing(),
        tempfile.TemporaryDirectory(prefix=MAKING, dir=target.root) as aside,
    ):
        has_database = _copy_database(source, Path(aside), copied)
        receipts = _receipts(source)
        _copy_originals(source, target, copied, progress)
        _copy_receipts(receipts, target)
        _copy_kept_settings(source, target)
        for path in sorted((source.root / "queries").glob("*.sql")):
            _copy_small(path, target.root / "queries" / path.name)
        if has_database:
            take_place(Path(aside), target.root)
        _copy_small(source.root / SETTINGS_NAME, target.root / SETTINGS_NAME)
    return copied


def _copy_database(source: CataloguePaths, aside: Path, copied: Copied) -> bool:
    if not (source.root / DATABASE_NAME).exists():
        return False
    try:
        copy_database(source.root, aside)
    except UserError as error:
        if error.what == IN_USE:
            raise
        copied.faults += error.faults
        return False
    return True


def _receipts(source: CataloguePaths) -> dict[str, bytes]:
    paths = sorted(source.ledger.folder.glob("[0-9]*.json"))
    return {path.name: path.read_bytes() for path in paths}


def _copy_receipts(receipts: dict[str, bytes], target: CataloguePaths) -> None:
    for name, data in receipts.items():
        path = target.ledger.folder / name
        if not path.exists():
            write_aside(path, data)


def _copy_kept_settings(source: CataloguePaths, target: CataloguePaths) -> None:
    for path in kept_settings(source.ledger.folder):
        _copy_small(path, target.ledger.folder / FOLDER / path.name)


def _copy_originals(
    source: CataloguePaths, target: CataloguePaths, copied: Copied, progress: Progress
) -> None:
    for path in vault_files(source.vault.folder):
        try:
            _copy_original(path, target, copied)
        except UserError as error:
            copied.faults += error.faults
        progress(1)
    copied.faults += _lacking(source, target)


def _lacking(source: CataloguePaths, target: CataloguePaths) -> list[Fault]:
    """Originals that a receipt names and that neither folder holds."""
    try:
        named = named_originals(source.ledger.receipts())
    except UserError as error:
        return list(error.faults)
    return [
        no_original(where, source.vault.path(sha256))
        for sha256, where in named.items()
        if not source.vault.path(sha256).exists() and not target.vault.path(sha256).exists()
    ]


def _copy_original(path: Path, target: CataloguePaths, copied: Copied) -> None:
    """One original, read back after it was written. Raises UserError where it is damaged."""
    kept = target.vault.path(path.name)
    if _whole(kept):
        copied.held += 1
        return
    refuse_changed(path, path.name, path.name[:12])
    reached("replace damaged")
    kept.unlink(missing_ok=True)
    _, size = target.vault.put(path)
    refuse_changed(kept, path.name, path.name[:12])
    copied.copied += 1
    copied.bytes += size


def _whole(path: Path) -> bool:
    try:
        refuse_changed(path, path.name, path.name)
    except UserError:
        return False
    return True


def _copy_small(source: Path, target: Path) -> None:
    data = source.read_bytes()
    if not target.exists() or target.read_bytes() != data:
        write_aside(target, data, 0o644)


def _refuse_overlap(source: Path, target: Path) -> None:
    one, other = source.resolve(), target.resolve()
    if one.is_relative_to(other) or other.is_relative_to(one):
        fault = Fault(
            str(target),
            f"a folder in common with {source}",
            "a folder outside it, and not above it",
        )
        raise UserError("the copy can't be made", [fault])


def _refuse_stranger(source: CataloguePaths, target: CataloguePaths) -> None:
    """The folder must be new, empty, or begun as a copy of this catalogue."""
    root = target.root
    if root.exists() and (not root.is_dir() or _filled(root)):
        if not (root / MARK).is_file():
            fault = Fault(str(root), NOT_EMPTY, "a new or empty folder, or a backup")
            raise UserError("the copy can't be made", [fault])
        _refuse_conflict(source, target)


def _filled(root: Path) -> bool:
    """Whether there is more in a folder than a mark that was not written to its end."""
    return any(not path.name.startswith(ASIDE) for path in root.iterdir())


def _refuse_conflict(source: CataloguePaths, target: CataloguePaths) -> None:
    """Receipts of one number must be equal: else these are different catalogues."""
    for name, data in _receipts(source).items():
        path = target.ledger.folder / name
        if path.exists() and path.read_bytes() != data:
            found, expected = "another receipt", f"that of {source.root}"
            fault = Fault(str(path), found, expected, "use another folder")
            raise UserError("these are different catalogues", [fault])
