"""The reader of a file, found by looking at the file; exactly one may match."""

from __future__ import annotations

import importlib
import pkgutil
from functools import cache
from pathlib import Path

import backbench.readers
from backbench.errors import Fault, UserError
from backbench.readers.declare import Reader, Recording, RecordingFormat, TableData, TableFormat
from backbench.stimuli import Table
from backbench.validation import shortened

HEAD_BYTES = 4096


@cache
def readers() -> tuple[Reader, ...]:
    """Every format declared in this package, by name."""
    found: dict[str, Reader] = {}
    for info in pkgutil.iter_modules(backbench.readers.__path__):
        module = importlib.import_module(f"backbench.readers.{info.name}")
        for item in vars(module).values():
            if not isinstance(item, (RecordingFormat, TableFormat)):
                continue
            if found.setdefault(item.name, item) is not item:
                raise ValueError(f"the format {item.name} is declared twice")
    return tuple(found[name] for name in sorted(found))


def read_recording(path: Path, name: str | None = None) -> Recording:
    """The samples of an audio file; `name` is how faults call it. Raises UserError."""
    called = name or path.name
    reader = reader_of(path, called)
    if not isinstance(reader, RecordingFormat):
        raise unreadable(called, f"{reader.name}", "an audio recording", "check the stimulus")
    return reader.read(path, called)


def read_table(path: Path, table: Table, name: str | None = None) -> TableData:
    """The declared columns of a table file; `name` is how faults call it. Raises UserError."""
    called = name or path.name
    reader = reader_of(path, called)
    if not isinstance(reader, TableFormat):
        raise unreadable(called, f"{reader.name}", "a table", "check the stimulus")
    return reader.read(path, called, table)


def reader_of(path: Path, name: str) -> Reader:
    """The one reader that knows the file. Raises UserError where there is none, or several."""
    head = _head(path, name)
    matching = [r for r in readers() if r.matches(head, Path(name).suffix.lower())]
    if len(matching) == 1:
        return matching[0]
    if matching:
        found = f"a file that is both {' and '.join(r.name for r in matching)}"
        raise unreadable(name, found, "a file of one format")
    known = "; ".join(r.name for r in readers())
    found = f"bytes that begin {shortened(head[:8])}" if head else "an empty file"
    raise unreadable(name, found, f"one of: {known}")


def _head(path: Path, name: str) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(HEAD_BYTES)
    except OSError as error:
        reason = "no such file" if isinstance(error, FileNotFoundError) else str(error.strerror)
        raise unreadable(name, reason, "a file") from None


def unreadable(name: str, found: str, expected: str, remedy: str = "") -> UserError:
    """One fault of one file."""
    return UserError(f"{name} can't be read", [Fault(name, found, expected, remedy)])
