"""Recordings through libsndfile: WAV, RF64, W64, FLAC, AIFF, CAF, AU."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import BinaryIO

import numpy as np
import soundfile

from backbench.errors import UserError
from backbench.quantities.writing import in_text
from backbench.readers.declaration import OpenRecording, RecordingFormat
from backbench.readers.file_formats import MAX_SAMPLES, unreadable
from backbench.readers.flac_trial import fault_in, reason_of
from backbench.readers.interrupted_wav import INTERRUPTED, MendedHeader, interrupted_at
from backbench.readers.wav_integers import SamplePlaces, layout_of, read_frames
from backbench.signal.track import Array

MAX_TRACKS = 64
MAX_RATE_HZ = 2_000_000
BITS = {
    "PCM_16": 16, "PCM_24": 24, "PCM_32": 32, "FLOAT": None, "DOUBLE": None,
    "ALAC_16": 16, "ALAC_20": 20, "ALAC_24": 24, "ALAC_32": 32,
}  # fmt: skip
MAX_SAMPLES_A_BYTE = 40
"""Of a long recording. Lossless coding takes a bit a sample and more for the least of noise."""
UNKNOWN_SIZES = {0xFFFFFFFF}
"""What a recorder that never learnt its length leaves in the header."""
# libsndfile shortens a recording that breaks off and tells of it only in its log.
_SHORT = re.compile(r"(?:data|SSND|Riff size|riff|Data Size)\s*: (\d+) \(should be (\d+)\)")
_MAGIC = re.compile(
    rb"(?:RIFF....WAVE|RF64....WAVE|RIFX....WAVE|FORM....AIF[FC]|fLaC|caff\x00|\.snd|riff\.\x91\xcf\x11)",
    re.DOTALL,
)


def is_audio(head: bytes, suffix: str) -> bool:
    """Whether the file begins as one of the containers does; the suffix is not looked at."""
    return _MAGIC.match(head) is not None


@contextmanager
def open_audio(path: Path, name: str) -> Iterator[OpenRecording]:
    """The file opened, samples re full scale. Raises UserError for one that is not whole."""
    tried = fault_in(path, name)
    if tried is not None:
        raise _damaged(name, tried)
    try:
        with _opened(path) as (file, remark):
            _refuse_header(file, name)
            _refuse_unfolding(file, path.stat().st_size, name)
            bits, rate_hz = BITS[file.subtype], float(file.samplerate)
            with path.open("rb", buffering=0) as raw:
                layout = None if remark else layout_of(raw, file)
                read = (
                    partial(_read, file, name)
                    if layout is None
                    else partial(_read_integers, file, layout, raw, name)
                )
                yield OpenRecording(
                    file.frames, file.channels, rate_hz, bits, read, file.seek, remark=remark
                )  # fmt: skip
    except soundfile.LibsndfileError as error:
        raise _damaged(name, reason_of(error)) from None


def _damaged(name: str, reason: str) -> UserError:
    return unreadable(name, f"damaged audio ({reason})", "a whole recording", _COPY)


@contextmanager
def _opened(path: Path) -> Iterator[tuple[soundfile.SoundFile, str | None]]:
    """The file, and a remark where its header had to be mended to be read to its end."""
    place = interrupted_at(path)
    if place is None:
        with soundfile.SoundFile(path) as file:
            yield file, None
        return
    with path.open("rb") as raw, soundfile.SoundFile(MendedHeader(raw, place)) as file:
        yield file, INTERRUPTED


def _read(
    file: soundfile.SoundFile, name: str, frames: int, full_scale: Sequence[float] | None = None
) -> Array:
    first = file.tell()
    samples: Array = file.read(frames, dtype="float64", always_2d=True)
    if len(samples) != min(frames, file.frames - first):
        raise _cut_short(name, f"{first + len(samples)} of {file.frames} samples")
    _refuse_non_finite(samples, first, float(file.samplerate), name)
    if full_scale is None:
        return samples
    tracks = np.empty(samples.shape[::-1])
    return np.multiply(samples, full_scale, out=tracks.T)


def _read_integers(
    file: soundfile.SoundFile,
    layout: SamplePlaces,
    raw: BinaryIO,
    name: str,
    frames: int,
    full_scale: Sequence[float] | None = None,
) -> Array:
    """As _read; the file's own place goes on with it."""
    first = file.tell()
    frames = min(frames, file.frames - first)
    samples = read_frames(layout, raw, first, frames, full_scale or [1.0] * layout.tracks)
    if len(samples) != frames:
        raise _cut_short(name, f"{first + len(samples)} of {file.frames} samples")
    file.seek(first + frames)
    return samples


_COPY = "copy or record it again"


def _refuse_header(file: soundfile.SoundFile, name: str) -> None:
    """Everything that can be known before memory is taken."""
    if file.subtype not in BITS:
        held = f"{soundfile.available_subtypes().get(file.subtype, file.subtype)} samples"
        expected = "16, 24 or 32 bit or floating point, uncompressed or lossless"
        raise unreadable(name, held, expected, "too coarse or lossy to measure on")
    if not 0 < file.channels <= MAX_TRACKS:
        raise unreadable(name, f"{file.channels} tracks", f"1 to {MAX_TRACKS}")
    if not 0 < file.samplerate <= MAX_RATE_HZ:
        raise unreadable(name, f"{file.samplerate} Hz", f"a sample rate up to {MAX_RATE_HZ} Hz")
    if file.frames <= 0:
        raise unreadable(name, "no samples", "a recording", "record it again")
    for claimed, held in _SHORT.findall(file.extra_info):
        if int(claimed) > int(held) + 1 and int(claimed) not in UNKNOWN_SIZES:
            raise _cut_short(name, f"{held} of {claimed} bytes")


def _refuse_unfolding(file: soundfile.SoundFile, size: int, name: str) -> None:
    """A megabyte may hold days of digital silence: read in turn, but without an end in sight."""
    samples = file.frames * file.channels
    if samples > max(MAX_SAMPLES, size * MAX_SAMPLES_A_BYTE):
        raise unreadable(
            name, f"{samples} samples in {size} bytes",
            f"at most {MAX_SAMPLES_A_BYTE} samples a byte, as any converter's noise leaves",
            "cut off the digital silence",
        )  # fmt: skip


def _cut_short(name: str, found: str) -> UserError:
    return unreadable(name, f"a recording that breaks off, {found}", "a whole recording", _COPY)


def _refuse_non_finite(samples: Array, first: int, rate_hz: float, name: str) -> None:
    """first: where in the file the samples begin, frames."""
    finite = np.isfinite(samples)
    if finite.all():
        return
    frame, track = np.argwhere(~finite)[0]
    kind = "NaN" if np.isnan(samples[frame, track]) else "an infinite value"
    at = first + frame
    raise unreadable(
        name, f"{kind} at sample {at} ({in_text(at / rate_hz, 's', 6)}) of track {track + 1}",
        "finite samples", "export it again from the recorder",
    )  # fmt: skip


AUDIO = RecordingFormat(
    "audio recording (WAV, RF64, W64, FLAC, AIFF, CAF, AU)", is_audio, open_audio
)
