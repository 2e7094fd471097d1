"""Integer samples of a WAV file, taken from its bytes as they stand.

The library that reads every container takes five times as long over samples of 24 bits, as it
unfolds them one by one. It opens the file all the same, and says how many samples there are and of
which kind: here they are only unfolded, to the same digits.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from typing import BinaryIO, NamedTuple

import numpy as np
import soundfile
from numpy.typing import NDArray

from backbench.signal.track import Array

FEW_BYTES, HEAD_BYTES = 512, 65_536
"""Of the file, in which the data's header is looked for: mostly in the first few."""
WIDTHS = {"PCM_16": 2, "PCM_24": 3, "PCM_32": 4}
"""Bytes of a sample by the library's name of its kind."""
BLOCK_FRAMES = 32_768
"""Unfolded at once, so that what is between stays within a processor's cache."""


class SamplePlaces(NamedTuple):
    """Where samples stand in a file.

    Parameters
    ----------
    place : int
        Byte of the first sample.
    width : int
        Bytes of a sample: 2, 3 or 4.
    tracks : int
        Samples of a frame.
    """

    place: int
    width: int
    tracks: int

    @property
    def frame(self) -> int:
        """Bytes of a frame."""
        return self.width * self.tracks

    @property
    def levels(self) -> float:
        """Of the integers that a sample is unfolded to, up to full scale; a power of 2, so that
        what full scale is can be divided by it without a rounding."""
        return 2.0**15 if self.width == 2 else 2.0**31


def layout_of(raw: BinaryIO, opened: soundfile.SoundFile) -> SamplePlaces | None:
    """Where the integer samples of a WAV file stand; None where the library is to read them.

    Parameters
    ----------
    raw : binary file
        The file.
    opened : SoundFile
        The same, as the library has opened it, at its first frame, where it is left.

    Returns
    -------
    SamplePlaces or None
        Only where the first and the last frame are what the library reads there.
    """
    width = WIDTHS.get(opened.subtype)
    if width is None or opened.format not in ("WAV", "WAVEX") or opened.frames <= 0:
        return None
    raw.seek(0)
    head = raw.read(FEW_BYTES)
    place = _data_in(head) or _data_in(head + raw.read(HEAD_BYTES - FEW_BYTES))
    if place is None:
        return None
    layout = SamplePlaces(place, width, opened.channels)
    return layout if _is_the_same(layout, raw, opened) else None


def _data_in(head: bytes) -> int | None:
    """Where the samples begin, by the chunks' own lengths; None where that isn't told."""
    if head[:4] != b"RIFF" or head[8:12] != b"WAVE":
        return None
    place = 12
    while place + 8 <= len(head):
        if head[place : place + 4] == b"data":
            return place + 8
        (length,) = struct.unpack_from("<I", head, place + 4)
        place += 8 + length + length % 2
    return None


def _is_the_same(layout: SamplePlaces, raw: BinaryIO, opened: soundfile.SoundFile) -> bool:
    for first in (opened.frames - 1, 0):
        opened.seek(first)
        known = opened.read(1, dtype="float64", always_2d=True)
        raw.seek(layout.place + first * layout.frame)
        if known[0].tolist() != _unfolded(layout, raw.read(layout.frame)):
            return False
    opened.seek(0)
    return True


def _unfolded(layout: SamplePlaces, frame: bytes) -> list[float]:
    """Samples of one frame, re full scale."""
    each = (frame[n : n + layout.width] for n in range(0, len(frame), layout.width))
    full_scale = 2.0 ** (8 * layout.width - 1)
    return [int.from_bytes(sample, "little", signed=True) / full_scale for sample in each]


def read_frames(
    layout: SamplePlaces,
    raw: BinaryIO,
    first: int,
    frames: int,
    full_scale: Sequence[float],
) -> Array:
    """Samples in the unit of what full scale is.

    Parameters
    ----------
    layout : SamplePlaces
        Where they stand.
    raw : binary file
        The file.
    first : int
        The first frame that is wanted, >= 0.
    frames : int
        How many are wanted.
    full_scale : sequence of float
        What digital full scale is of each track, > 0.

    Returns
    -------
    ndarray of float64, shape (n, tracks)
        n <= frames, fewer where the file ends before; each track in one piece of memory.
    """
    samples = np.empty((layout.tracks, frames))
    raw.seek(layout.place + first * layout.frame)
    most, steps = min(BLOCK_FRAMES, frames), [own / layout.levels for own in full_scale]
    # A sample of three bytes is read as four, with the byte before it.
    held, whole = np.empty(1 + most * layout.frame, np.uint8), np.empty(most, np.int32)
    for done in range(0, frames, BLOCK_FRAMES):
        block = samples[:, done : done + BLOCK_FRAMES]
        wanted = held.data[1 : 1 + block.shape[1] * layout.frame]
        got = raw.readinto(wanted) // layout.frame  # type: ignore[attr-defined]
        _unfold(layout, held, whole[:got], steps, block[:, :got])
        if got < block.shape[1]:
            return samples[:, : done + got].T
    return samples.T


def _unfold(
    layout: SamplePlaces,
    held: NDArray[np.uint8],
    whole: NDArray[np.int32],
    steps: Sequence[float],
    samples: Array,
) -> None:
    """Samples of a block, a row for each track, from the bytes after the first.

    whole: room for the integers of one track. steps: what 1 is of each track's integers.
    """
    kind = "<i2" if layout.width == 2 else "<i4"
    before = 0 if layout.width == 3 else 1
    for track, (row, step) in enumerate(zip(samples, steps, strict=True)):
        first = before + track * layout.width
        own = np.ndarray((len(row),), kind, held, first, (layout.frame,))
        if layout.width == 3:
            own = np.bitwise_and(own, -256, out=whole)
        # Two passes, each of one kind of number: quicker than one that changes it on the way.
        np.copyto(row, own)
        np.multiply(row, step, out=row)
