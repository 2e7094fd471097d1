"""What the settings say of benches, kept from command to command.

Whether a figure is out of date rests on what the settings say now of its bench. Reading and
checking the settings takes longer than looking that up: what they said is kept in the user's cache
folder for as long as neither they nor the program that reads them have changed.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from platformdirs import user_cache_path

import backbench.documents
import backbench.quantities
from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.validation import read_bytes
from backbench.errors import UserError
from backbench.storage.atomic_io import write_aside

if TYPE_CHECKING:
    from backbench.documents.settings import Settings

MOST = 8
"""Settings that are kept, of the catalogues that were looked at last."""
READERS = (backbench.documents, backbench.quantities)
"""The packages that decide what the settings say."""


class KeptTerms:
    """The terms of a bench for a day and an input range, as `bench_terms` gives them."""

    def __init__(self, root: Path, settings: Callable[[], Settings]) -> None:
        """settings: reads and checks them, where what they say isn't kept."""
        self._settings = settings
        self._key = _key(read_bytes(root / SETTINGS_NAME, "the catalogue's settings"))
        self._terms: dict[str, str | None] = _kept().get(self._key, {})
        self._news = False

    def __call__(self, bench: str, day: dt.date, input_range: str | None) -> str | None:
        """None where no calibration of that range is in force on that day. Raises UserError."""
        place = json.dumps([bench, day.isoformat(), input_range])
        if place not in self._terms:
            self._terms[place] = terms_now(self._settings(), bench, day, input_range)
            self._news = True
        return self._terms[place]

    def keep(self) -> None:
        """Keep what was looked up for later commands. Where that can't be, each reads anew."""
        if not self._news:
            return
        others = {key: terms for key, terms in _kept().items() if key != self._key}
        newest = {self._key: self._terms, **dict(list(others.items())[: MOST - 1])}
        try:
            write_aside(_place(), json.dumps(newest).encode())
        except OSError:
            return
        self._news = False


def terms_now(settings: Settings, bench: str, day: dt.date, input_range: str | None) -> str | None:
    """The terms as the settings have them; None where no calibration is in force."""
    from backbench.documents.bench_terms import bench_terms

    try:
        return bench_terms(settings, bench, day, input_range)
    except UserError:
        return None


def _place() -> Path:
    return user_cache_path("backbench") / "bench-terms.json"


def _kept() -> dict[str, dict[str, str | None]]:
    """Terms by what they were read from; none where the file isn't one of ours."""
    try:
        content: Any = json.loads(_place().read_bytes())
    except (OSError, ValueError):
        return {}
    if not isinstance(content, dict) or not all(isinstance(v, dict) for v in content.values()):
        return {}
    return content


def _key(settings: bytes) -> str:
    """Another one where the settings or the program's readers of them are others."""
    digest = hashlib.sha256(settings)
    for package in READERS:
        for folder in package.__path__:
            with os.scandir(folder) as entries:
                found = sorted((e.name, e.stat()) for e in entries if e.name.endswith(".py"))
            for name, state in found:
                digest.update(f"{name}/{state.st_size}/{state.st_mtime_ns}\n".encode())
    return digest.hexdigest()
