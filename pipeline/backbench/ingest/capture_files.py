"""Capture files in a review folder, whatever format the recorder wrote."""

from __future__ import annotations

from pathlib import Path

from backbench.readers.declaration import RecordingFormat
from backbench.readers.file_formats import HEAD_BYTES, readers
from backbench.storage.atomic_io import ASIDE

ENDINGS = (".wav", ".flac", ".aiff", ".aif", ".caf", ".w64", ".rf64", ".au")


def found_file(folder: Path, file: str) -> Path | None:
    """The file of that name, or of that stem with another audio ending; None where neither is."""
    path = folder / file
    if path.is_file():
        return path
    return next(
        (other for ending in ENDINGS if (other := path.with_suffix(ending)).is_file()), None
    )


def recordings(folder: Path) -> list[Path]:
    """Every audio file of a folder and its sub-folders, sorted; by its first bytes."""
    files = [path for path in sorted(folder.rglob("*")) if path.is_file() and _is_audio(path)]
    return [path for path in files if not path.name.startswith(("played-", "run-", ASIDE))]


def _is_audio(path: Path) -> bool:
    try:
        with path.open("rb") as stream:
            head = stream.read(HEAD_BYTES)
    except OSError:
        return False
    formats = [one for one in readers() if isinstance(one, RecordingFormat)]
    return any(one.matches(head, path.suffix.lower()) for one in formats)
