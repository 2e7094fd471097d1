"""What an input format is: how its files are recognised, and what reading one gives."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from backbench.documents.stimuli import Table
from backbench.signal.track import Array

WITHOUT_HEADER = "samples without a header (their layout stated as `raw`)"
"""The format that no file shows: the manifest states it."""
BLOCK_SAMPLES = 1 << 21
"""Of all tracks, of a recording that is gone through in turn: 17 MB."""


@dataclass(frozen=True, eq=False)
class Recording:
    """An audio file: samples of shape (n, tracks), float64 re digital full scale.

    bits: word length of integer samples; None for floating point.
    """

    samples: Array
    rate_hz: float
    bits: int | None


class ReadOn(Protocol):
    """Reads the samples that follow, at most so many frames, as a Recording has them: in the unit
    of what digital full scale is of each track, where that is given."""

    def __call__(self, frames: int, full_scale: Sequence[float] | None = None) -> Array: ...


@dataclass(frozen=True, eq=False)
class OpenRecording:
    """An audio file while it is open, to be read in turn.

    read raises UserError where the file breaks off before, or a sample is not finite.
    seek(frame) makes the reading go on from there. remark: what was odd about the file.
    """

    frames: int
    tracks: int
    rate_hz: float
    bits: int | None
    read: ReadOn
    seek: Callable[[int], object]
    remark: str | None = None

    def blocks(self, frames: int) -> Iterator[Array]:
        """The next so many frames, or as many as there are, in blocks of little memory."""
        most = max(BLOCK_SAMPLES // self.tracks, 1)
        while frames > 0 and len(block := self.read(min(most, frames))):
            frames -= len(block)
            yield block


@dataclass(frozen=True, eq=False)
class TableData:
    """A reduced table: columns of one length by declared name, finite.

    Values are in Hz, V, s, ohm, W, degrees; ratios stay in dB or %, as declared.
    uncertainty: standard uncertainty of each value, in its unit: its last printed digit, and the
    instrument's own where it was declared. remark: rows that were left out, None where none was.
    """

    columns: dict[str, Array]
    uncertainty: dict[str, Array] = field(default_factory=dict)
    remark: str | None = None


Matches = Callable[[bytes, str], bool]
"""Told the first bytes of a file and its suffix (which may be empty), says whether it is one."""


@dataclass(frozen=True)
class RecordingFormat:
    """A format of recorded samples. open(path, name) raises UserError naming the file by name."""

    name: str
    matches: Matches
    open: Callable[[Path, str], AbstractContextManager[OpenRecording]]


@dataclass(frozen=True)
class ArrayContents:
    """The parts of a file of arrays, before anything of it is declared.

    columns: name and number of values of each column that may be declared, by its number; no
    values where a column holds no numbers. single: single numbers by name. arrays: each array's
    name, and its shape and type in words.
    """

    columns: tuple[tuple[str, int], ...]
    single: tuple[tuple[str, float], ...] = ()
    arrays: tuple[tuple[str, str], ...] = ()


ContentsReader = Callable[[Path, str], ArrayContents]
"""contents(path, name) raises UserError naming the file by name."""


@dataclass(frozen=True)
class TableFormat:
    """A format of tables. read(path, name, declared) raises UserError.

    contents: tells what a file holds; None for a format whose files are read to be understood.
    """

    name: str
    matches: Matches
    read: Callable[[Path, str, Table], TableData]
    contents: ContentsReader | None = None


Reader = RecordingFormat | TableFormat
