"""The numbered steps of the schema, as shipped with the program."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib import resources


@cache
def migrations() -> tuple[tuple[int, str, str], ...]:
    """The numbered SQL files: number, file name, text. Read once: every opening asks for them."""
    files = [f for f in resources.files("backbench.schema").iterdir() if f.name.endswith(".sql")]
    ordered = sorted(files, key=lambda f: f.name)
    return tuple((int(f.name[:4]), f.name, f.read_text(encoding="utf-8")) for f in ordered)


@cache
def checksum(text: str) -> str:
    """What is kept of a step's text, to know another version's step by."""
    return hashlib.sha256(text.encode()).hexdigest()
