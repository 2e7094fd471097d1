"""Review folders in an inbox that are whole: nothing in them has changed for a while."""

from __future__ import annotations

import time
from pathlib import Path

from backbench.documents.file_names import MANIFEST_NAME


def settled(inbox: Path, settle_s: float) -> list[Path]:
    """Folders with a manifest whose files, and the folder itself, are older than settle_s."""
    folders = sorted({path.parent for path in inbox.glob(f"*/{MANIFEST_NAME}")})
    limit = time.time() - settle_s
    return [folder for folder in folders if _newest(folder) <= limit]


def _newest(folder: Path) -> float:
    """The last change in a folder; now where a file goes away meanwhile."""
    try:
        return max(path.stat().st_mtime for path in (folder, *folder.rglob("*")))
    except OSError:
        return time.time()
