"""Integer samples of WAV files, against what the library reads from the same files."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile

from backbench.errors import UserError
from backbench.readers.file_formats import open_recording, read_recording
from backbench.readers.wav_integers import BLOCK_FRAMES, layout_of

RATE = 48_000


def written(path: Path, subtype: str, tracks: int, frames: int, form: str = "WAV") -> Path:
    samples = np.random.default_rng(tracks).uniform(-1, 1, (frames, tracks))
    samples[:2] = [[-1.0] * tracks, [1.0] * tracks]
    soundfile.write(path, samples, RATE, subtype=subtype, format=form)
    return path


def with_a_chunk_before_the_data(path: Path, length: int) -> None:
    whole = path.read_bytes()
    at = whole.index(b"data")
    chunk = b"odds" + struct.pack("<I", length) + bytes(length + length % 2)
    size = struct.pack("<I", len(whole) + len(chunk) - 8)
    path.write_bytes(whole[:4] + size + whole[8:at] + chunk + whole[at:])


@pytest.mark.parametrize("form", ["WAV", "WAVEX"])
@pytest.mark.parametrize("tracks", [1, 2, 5])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "PCM_32"])
def test_samples_are_those_of_the_library(
    tmp_path: Path, subtype: str, tracks: int, form: str
) -> None:
    path = written(tmp_path / "a.wav", subtype, tracks, BLOCK_FRAMES + 7, form)
    with_a_chunk_before_the_data(path, 3)
    with soundfile.SoundFile(path) as opened, path.open("rb") as raw:
        assert layout_of(raw, opened) is not None
    known, _ = soundfile.read(path, always_2d=True)
    assert np.array_equal(read_recording(path).samples, known)


def test_reading_goes_on_from_where_it_was_set(tmp_path: Path) -> None:
    path = written(tmp_path / "a.wav", "PCM_24", 3, 1000)
    known, _ = soundfile.read(path, always_2d=True)
    with open_recording(path) as opened:
        assert np.array_equal(opened.read(300), known[:300])
        assert np.array_equal(opened.read(10), known[300:310])
        opened.seek(990)
        assert np.array_equal(opened.read(300), known[990:])
        assert opened.read(1).shape == (0, 3)


@pytest.mark.parametrize(
    ("subtype", "form"),
    [("PCM_16", "WAV"), ("PCM_24", "WAV"), ("PCM_32", "WAV"), ("FLOAT", "WAV"), ("PCM_24", "AIFF")],
)
def test_samples_are_given_in_the_unit_of_full_scale(
    tmp_path: Path, subtype: str, form: str
) -> None:
    path = written(tmp_path / "a", subtype, 3, BLOCK_FRAMES + 7, form)
    known, _ = soundfile.read(path, always_2d=True)
    full_scale = [0.7, 12.34, 1.0]
    with open_recording(path) as opened:
        first, rest = opened.read(10, full_scale), opened.read(BLOCK_FRAMES, full_scale)
    assert np.array_equal(np.concatenate([first, rest]), known * full_scale)
    assert all(track.flags.c_contiguous for track in rest.T)


@pytest.mark.parametrize(("subtype", "form"), [("FLOAT", "WAV"), ("PCM_24", "AIFF")])
def test_other_files_are_left_to_the_library(tmp_path: Path, subtype: str, form: str) -> None:
    path = written(tmp_path / "a", subtype, 2, 100, form)
    with soundfile.SoundFile(path) as opened, path.open("rb") as raw:
        assert layout_of(raw, opened) is None
    known, _ = soundfile.read(path, always_2d=True)
    assert np.array_equal(read_recording(path).samples, known)


def test_a_header_whose_samples_stand_elsewhere_is_left_to_the_library(tmp_path: Path) -> None:
    path = written(tmp_path / "a.wav", "PCM_24", 2, 100)
    other = tmp_path / "b.wav"
    whole = path.read_bytes()
    at = whole.index(b"data") + 8
    other.write_bytes(whole[:at] + bytes(len(whole) - at))
    with soundfile.SoundFile(path) as opened, other.open("rb") as raw:
        assert layout_of(raw, opened) is None


def test_a_file_that_is_shortened_while_it_is_open_breaks_off(tmp_path: Path) -> None:
    path = written(tmp_path / "a.wav", "PCM_24", 2, 1000)
    with open_recording(path) as opened:
        with path.open("r+b") as file:
            file.truncate(path.stat().st_size - 600)
        with pytest.raises(UserError, match=r"breaks off, 900 of 1000 samples"):
            opened.read(1000)
