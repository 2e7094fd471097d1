"""The reader of a file, found by looking at the file; exactly one may match."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import backbench.readers
from backbench.documents.regular_files import open_regular, reason_of
from backbench.documents.stimuli import Table
from backbench.documents.validation import shortened
from backbench.errors import Fault, UserError
from backbench.quantities.counts import counted
from backbench.quantities.writing import in_text
from backbench.readers.declaration import (
    WITHOUT_HEADER,
    OpenRecording,
    Reader,
    Recording,
    RecordingFormat,
    TableData,
    TableFormat,
)

HEAD_BYTES = 4096
MAX_SAMPLES = 10_000_000
"""Samples of all tracks together that are read at once: 80 MB, 26 s of two tracks at 192 kHz."""


@cache
def readers() -> tuple[Reader, ...]:
    """Every format declared in this package, by name."""
    by_name: dict[str, Reader] = {}
    for info in pkgutil.iter_modules(backbench.readers.__path__):
        module = importlib.import_module(f"backbench.readers.{info.name}")
        for item in vars(module).values():
            if not isinstance(item, (RecordingFormat, TableFormat)):
                continue
            if by_name.setdefault(item.name, item) is not item:
                raise ValueError(f"the format {item.name} is declared twice")
    return tuple(by_name[name] for name in sorted(by_name))


@contextmanager
def open_recording(path: Path, name: str | None = None) -> Iterator[OpenRecording]:
    """An audio file opened, to be read in turn; `name` is how faults call it. Raises UserError."""
    called = name or path.name
    reader = reader_of(path, called)
    if not isinstance(reader, RecordingFormat):
        raise unreadable(called, f"{reader.name}", "an audio recording",
                         "check which file this is, and the entry's stimulus")  # fmt: skip
    with reader.open(path, called) as opened:
        yield opened


def read_recording(path: Path, name: str | None = None) -> Recording:
    """All samples of an audio file; `name` is how faults call it. Raises UserError."""
    with open_recording(path, name) as opened:
        if opened.frames * opened.tracks > MAX_SAMPLES:
            raise too_long(name or path.name, opened, f"at most {MAX_SAMPLES} samples in all")
        return Recording(opened.read(opened.frames), opened.rate_hz, opened.bits)


def too_long(name: str, opened: OpenRecording, expected: str) -> UserError:
    """The fault of a recording that can't be held as a whole."""
    length = (
        f"{span(opened.frames / opened.rate_hz)} of {counted(opened.tracks, 'track')} at "
        f"{in_text(opened.rate_hz, 'Hz', 6)}"
    )
    return unreadable(name, length, expected, "cut it to what is measured")


def span(seconds: float) -> str:
    """A duration as a recordist says it: minutes from two on."""
    return in_text(seconds / 60, "min") if seconds >= 120 else in_text(seconds, "s")


def read_table(path: Path, table: Table, name: str | None = None) -> TableData:
    """The declared columns of a table file; `name` is how faults call it. Raises UserError."""
    called = name or path.name
    if table.raw is None:
        reader = reader_of(path, called)
    else:
        reader = next(one for one in readers() if one.name == WITHOUT_HEADER)
    if not isinstance(reader, TableFormat):
        raise unreadable(called, f"{reader.name}", "a table",
                         "check which file this is, and the entry's stimulus")  # fmt: skip
    return reader.read(path, called, table)


def reader_of(path: Path, name: str) -> Reader:
    """The one reader that knows the file. Raises UserError where there is none, or several."""
    head, suffix = _head(path, name), Path(name).suffix.lower()
    matching = [r for r in readers() if r.matches(head, suffix)]
    if len(matching) == 1:
        return matching[0]
    if matching:
        problem = f"a file that is both {' and '.join(r.name for r in matching)}"
        raise unreadable(name, problem, "a file of one format")
    known = "; ".join(r.name for r in readers())
    problem = f"bytes that begin {shortened(head[:8])}" if head else "an empty file"
    raise unreadable(name, problem, f"one of: {known}")


def _head(path: Path, name: str) -> bytes:
    try:
        with open_regular(path) as file:
            return file.read(HEAD_BYTES)
    except OSError as error:
        raise unreadable(name, reason_of(error), "a file") from None


def unreadable(name: str, found: str, expected: str, remedy: str = "") -> UserError:
    """One fault of one file."""
    return UserError(f"{name} can't be read", [Fault(name, found, expected, remedy)])
