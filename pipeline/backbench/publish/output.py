"""Files of the published folder: written only where they differ, removed where they went."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

RECORD = ".pages.json"


@dataclass(frozen=True)
class Written:
    """A file of the site, by its path within the folder, and whether it had to be written.

    trouble: what it could not show, and why.
    """

    path: str
    changed: bool
    trouble: str = ""


def write(folder: Path, path: str, content: bytes) -> Written:
    """Make the file hold this content; a file that holds it already is left alone."""
    final = folder / path
    if final.is_file() and final.read_bytes() == content:
        return Written(path, False)
    final.parent.mkdir(parents=True, exist_ok=True)
    aside = final.with_name(final.name + ".part")
    aside.write_bytes(content)
    aside.replace(final)
    return Written(path, True)


@dataclass(frozen=True)
class Record:
    """What an earlier run left: its input's digest and the files that it made."""

    digest: str
    paths: tuple[str, ...]

    def stands(self, folder: Path, digest: str) -> bool:
        """Whether these files are all there and were made from this very input."""
        return self.digest == digest and all((folder / path).is_file() for path in self.paths)


def read_record(folder: Path) -> Record:
    """The record of a folder; an empty one where there is none that can be read."""
    try:
        found = json.loads((folder / RECORD).read_text(encoding="utf-8"))
        return Record(str(found["digest"]), tuple(str(path) for path in found["paths"]))
    except (OSError, ValueError, KeyError, TypeError):
        return Record("", ())


def settle(folder: Path, digest: str, paths: Iterable[str]) -> list[str]:
    """Remove what an earlier run made and this one didn't, and record this run; what was removed.

    Only files that the record names are ever removed, and only inside the folder.
    """
    kept = sorted(set(paths))
    gone = sorted(set(read_record(folder).paths) - set(kept))
    root = folder.resolve()
    removed = [path for path in gone if (root / path).resolve().is_relative_to(root)]
    for path in removed:
        (folder / path).unlink(missing_ok=True)
    write(folder, RECORD, json.dumps({"digest": digest, "paths": kept}, indent=0).encode())
    return removed


def digest_of(files: Iterable[Path]) -> str:
    """One hash over files (names and bytes) and over the program that makes pages of them."""
    digest = hashlib.sha256()
    for path in files:
        digest.update(path.name.encode() + b"\0")
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    for item in _program(resources.files("backbench")):
        digest.update(hashlib.sha256(item.read_bytes()).digest())
    return digest.hexdigest()


PROGRAM = (".py", ".html", ".css", ".js", ".csv")


def _program(folder: Traversable) -> Iterable[Traversable]:
    for item in sorted(folder.iterdir(), key=lambda found: found.name):
        if item.is_dir():
            yield from _program(item)
        elif item.name.endswith(PROGRAM):
            yield item
