"""Every version of the settings that a catalogue was computed with, kept beside its receipts.

The settings are written by hand and hold the only copy of a bench's calibrations: a lost or
spoiled file can be put back from here, and a backup carries the versions along.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.regular_files import read_regular
from backbench.errors import Fault
from backbench.storage.atomic_io import write_aside, write_text_file

FOLDER = "settings"


def keep_settings(root: Path, ledger: Path) -> None:
    """Keep the settings of a catalogue's folder unless the newest kept version is equal.

    To be called while the catalogue is locked. Raises OSError.
    """
    data = read_regular(root / SETTINGS_NAME)
    digest = hashlib.sha256(data).hexdigest()
    versions = kept_settings(ledger)
    if versions and _digest_in(versions[-1]) == digest:
        return
    number = 1 + (int(versions[-1].name.partition("-")[0]) if versions else 0)
    write_aside(ledger / FOLDER / f"{number:06d}-{digest}.toml", data)


def change_settings(root: Path, ledger: Path, text: str) -> None:
    """Write new settings, and keep them beside those that stood before. Raises OSError.

    To be called while the catalogue is locked.
    """
    keep_settings(root, ledger)
    write_text_file(root / SETTINGS_NAME, text)
    keep_settings(root, ledger)


def kept_settings(ledger: Path) -> list[Path]:
    """The kept versions, the oldest first."""
    return sorted((ledger / FOLDER).glob("[0-9]*-*.toml"))


def settings_faults(root: Path, ledger: Path) -> list[Fault]:
    """Kept versions that are damaged, and settings that are lost though versions are kept."""
    faults = [
        Fault(str(path), "changed bytes", "the settings as they were kept", "restore a backup")
        for path in kept_settings(ledger)
        if hashlib.sha256(path.read_bytes()).hexdigest() != _digest_in(path)
    ]
    remedy = how_to_restore(ledger)
    lost = not (root / SETTINGS_NAME).is_file() or not (root / SETTINGS_NAME).stat().st_size
    if remedy and lost:
        faults.append(Fault(str(root / SETTINGS_NAME), "no settings", "those last used", remedy))
    return faults


def how_to_restore(ledger: Path) -> str:
    """What to do where the settings are lost; empty where no version is kept."""
    versions = kept_settings(ledger)
    return f"copy {versions[-1]} to {SETTINGS_NAME}" if versions else ""


def _digest_in(path: Path) -> str:
    return path.stem.partition("-")[2]
