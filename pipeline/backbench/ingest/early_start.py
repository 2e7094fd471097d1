"""What a command that measures one review can begin at its first moment, beside its own work."""

from __future__ import annotations

import hashlib
import importlib
import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager, suppress
from pathlib import Path

from backbench.documents.file_names import MANIFEST_NAME, SETTINGS_NAME
from backbench.storage.process_pool import copied_process, end_at_once

WORTH_A_POOL = 64
"""Captures from which starting processes costs less than it saves."""
NEEDED = (
    "scipy.fft", "scipy.ndimage", "scipy.optimize", "scipy.special", "soundfile",
    "backbench.ingest.analyse",
)  # fmt: skip
"""What the analyses of almost every review load."""
_at_hand: list[ProcessPoolExecutor] = []
"""The process that was begun and that nobody uses yet."""


@contextmanager
def worker_begun(catalogue: Path, folders: Sequence[Path]) -> Iterator[None]:
    """Have a process load what an analysis needs, where a few captures are sure to be analysed.

    To be entered before anything starts threads. If nobody has taken the process when the block is
    left, it ends.
    """
    if _few_are_sure(catalogue, folders):
        pool = copied_process(_load_analysis, ())
        _at_hand.extend([pool] if pool else [])
    try:
        yield
    finally:
        for left in _at_hand:
            end_at_once(left)
        _at_hand.clear()


def _few_are_sure(catalogue: Path, folders: Sequence[Path]) -> bool:
    is_new = (catalogue / SETTINGS_NAME).is_file() and any_new(catalogue, folders)
    return is_new and sum(map(_entries, folders)) < WORTH_A_POOL


def taken_worker() -> ProcessPoolExecutor | None:
    """The process that was begun, for the one who asks first."""
    return _at_hand.pop() if _at_hand else None


def any_new(catalogue: Path, folders: Sequence[object]) -> bool:
    """Whether the vault lacks the manifest of one of these, as far as they are review folders."""
    paths = [folder for folder in folders if isinstance(folder, Path)]
    return any(_is_new(catalogue / "vault", path / MANIFEST_NAME) for path in paths)


def _is_new(vault: Path, manifest: Path) -> bool:
    with suppress(OSError):
        if manifest.is_file():
            sha256 = hashlib.sha256(manifest.read_bytes()).hexdigest()
            return not (vault / sha256[:2] / sha256).exists()
    return False


def _entries(folder: Path) -> int:
    with suppress(OSError):
        return len(os.listdir(folder))
    return 0


def _load_analysis() -> None:
    # Processes that have the cores to themselves: threads of theirs would only wait there.
    os.environ.setdefault("POLARS_MAX_THREADS", "1")
    for name in NEEDED:
        importlib.import_module(name)
    from backbench.ingest.malloc_tuning import keep_freed
    from backbench.metrics.registry import registry

    keep_freed()
    registry()
