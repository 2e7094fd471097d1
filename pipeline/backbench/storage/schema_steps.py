"""The numbered steps of the schema, as shipped with the program."""

from __future__ import annotations

import hashlib
from importlib import resources


def migrations() -> list[tuple[int, str, str]]:
    """The numbered SQL files: number, file name, text."""
    files = [f for f in resources.files("backbench.schema").iterdir() if f.name.endswith(".sql")]
    ordered = sorted(files, key=lambda f: f.name)
    return [(int(f.name[:4]), f.name, f.read_text(encoding="utf-8")) for f in ordered]


def checksum(text: str) -> str:
    """What is kept of a step's text, to know another version's step by."""
    return hashlib.sha256(text.encode()).hexdigest()
