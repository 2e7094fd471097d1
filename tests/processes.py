"""Whether a process still works."""

from __future__ import annotations

from pathlib import Path


def alive(process: int) -> bool:
    """Whether a process runs; one that ended and is not yet waited for does not."""
    try:
        state = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except FileNotFoundError:
        return False
    return state != "Z"
