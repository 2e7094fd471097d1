"""Files of the published folder: written only where they differ, and a record of them."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

from backbench.storage.atomic_io import flush_file, make_folder, rename
from backbench.storage.fault_injection import reached

RECORD = ".pages.json"


@dataclass(frozen=True)
class OutputFile:
    """A file of the site, by its path within the folder, and whether it had to be written.

    trouble: what it could not show, and why.
    """

    path: str
    changed: bool
    trouble: str = ""


def write(folder: Path, path: str, content: bytes) -> OutputFile:
    """Make the file hold this content, or leave it as it was; one that holds it is left alone."""
    final = folder / path
    if final.is_file() and final.read_bytes() == content:
        return OutputFile(path, False)
    make_folder(final.parent)
    aside = final.with_name(final.name + ".part")
    reached("write")
    aside.write_bytes(content)
    flush_file(aside)
    rename(aside, final)
    return OutputFile(path, True)


def make(folder: Path, path: str, content: bytes, earlier: Path) -> OutputFile:
    """A file of a site that is being made, taken over from the earlier site where that has it.

    What is made twice in one run, as a chart on two pages, is the same both times.
    """
    new, old = folder / path, earlier / path
    if old.is_file() and old.read_bytes() == content:
        link(old, new)
        return OutputFile(path, False)
    make_folder(new.parent)
    reached("write")
    with suppress(FileExistsError), new.open("xb") as stream:
        stream.write(content)
    return OutputFile(path, True)


def link(earlier: Path, new: Path) -> None:
    """A file under a second name; a copy where the disk knows no links. Raises OSError."""
    make_folder(new.parent)
    reached("write")
    try:
        os.link(earlier, new, follow_symlinks=False)
    except FileExistsError:
        return
    except OSError:
        shutil.copy2(earlier, new, follow_symlinks=False)


@dataclass(frozen=True)
class EarlierOutput:
    """What an earlier run left: its input's digest and the files that it made."""

    digest: str
    paths: tuple[str, ...]

    def stands(self, folder: Path, digest: str) -> bool:
        """Whether these files are all there and were made from this very input."""
        return self.digest == digest and all((folder / path).is_file() for path in self.paths)


def read_record(folder: Path) -> EarlierOutput:
    """The record of a folder; an empty one where there is none that can be read."""
    try:
        record = json.loads((folder / RECORD).read_text(encoding="utf-8"))
        return EarlierOutput(str(record["digest"]), tuple(str(path) for path in record["paths"]))
    except (OSError, ValueError, KeyError, TypeError):
        return EarlierOutput("", ())


def record_bytes(digest: str, paths: Iterable[str]) -> bytes:
    """The record of a run."""
    return json.dumps({"digest": digest, "paths": sorted(set(paths))}, indent=0).encode()


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
    for item in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if item.is_dir():
            yield from _program(item)
        elif item.name.endswith(PROGRAM):
            yield item
