"""Reviews whose rows may lag behind ledger and settings, because a command was broken off.

A command notes them in the ledger before it writes a receipt or changes the settings, and takes
them out when the database says the same. What stands here when a command begins was broken off,
and that command carries it on.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

from backbench.storage.atomic_io import write_aside
from backbench.storage.fault_injection import reached

NAME = "unfinished.json"


def unfinished(ledger: Path) -> frozenset[str]:
    """The noted reviews. Raises OSError."""
    path = ledger / NAME
    try:
        keys = json.loads(path.read_bytes())
        return frozenset(map(str, keys if isinstance(keys, list) else ()))
    except (FileNotFoundError, ValueError):
        # Written whole or not at all: what can't be read was spoiled later, and `recompute`
        # finds what it named.
        return frozenset()


def note_unfinished(ledger: Path, reviews: Iterable[str]) -> None:
    """Note reviews; to be called while the catalogue is locked. Raises OSError."""
    _write(ledger, unfinished(ledger) | frozenset(reviews))


def note_finished(ledger: Path, reviews: Iterable[str]) -> None:
    """Take reviews out, while the catalogue is locked. Raises OSError."""
    noted = unfinished(ledger)
    if noted:
        _write(ledger, noted - frozenset(reviews))


def _write(ledger: Path, reviews: frozenset[str]) -> None:
    if reviews:
        write_aside(ledger / NAME, json.dumps(sorted(reviews)).encode(), 0o644)
    else:
        reached("remove")
        # Nobody waits for the disk: a note that comes back costs a look.
        (ledger / NAME).unlink(missing_ok=True)
