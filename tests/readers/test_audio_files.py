"""Recordings through libsndfile: what comes back, and what is refused in one line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from backbench.errors import UserError
from backbench.readers import audio, file_formats
from backbench.readers.file_formats import open_recording, read_recording

NOISE = 0.2 * np.random.default_rng(0).normal(size=(3000, 2)).clip(-4, 4)
FORMATS = [
    ("WAV", "PCM_16", 16), ("WAV", "PCM_24", 24), ("WAV", "PCM_32", 32), ("WAV", "FLOAT", None),
    ("RF64", "PCM_24", 24), ("FLAC", "PCM_16", 16), ("FLAC", "PCM_24", 24),
    ("AIFF", "PCM_24", 24), ("CAF", "PCM_24", 24), ("CAF", "FLOAT", None), ("W64", "DOUBLE", None),
]  # fmt: skip


def written(
    folder: Path, samples: np.ndarray = NOISE, kind: str = "WAV", subtype: str = "FLOAT"
) -> Path:
    path = folder / "take"
    soundfile.write(path, samples, 48_000, format=kind, subtype=subtype)
    return path


def message(path: Path) -> str:
    """The one fault of a file."""
    with pytest.raises(UserError) as caught:
        read_recording(path, "take.wav")
    (fault,) = caught.value.faults
    assert "\n" not in str(fault)
    assert fault.where == "take.wav"
    return fault.found


@pytest.mark.parametrize(("kind", "subtype", "bits"), FORMATS)
def test_samples_come_back_within_half_a_step(
    tmp_path: Path, kind: str, subtype: str, bits: int | None
) -> None:
    recording = read_recording(written(tmp_path, kind=kind, subtype=subtype))
    assert (recording.rate_hz, recording.bits) == (48_000, bits)
    assert recording.samples.dtype == np.float64
    steps = {"FLOAT": 2**24, "DOUBLE": 2**52}.get(subtype) or 2 ** ((bits or 0) - 1)
    assert np.abs(recording.samples - NOISE).max() <= 1.0 / steps


def test_full_scale_is_one(tmp_path: Path) -> None:
    """The most negative integer is -1; a word of n bits counts steps of 2**(1 - n)."""
    path = tmp_path / "words.wav"
    words = np.array([-(2**15), -1, 0, 1, 2**15 - 1], dtype=np.int16)
    soundfile.write(path, words, 48_000)
    assert (read_recording(path).samples[:, 0] * 2**15 == words).all()


@pytest.mark.parametrize(("kind", "subtype", "bits"), FORMATS)
def test_a_file_cut_short_is_refused(
    tmp_path: Path, kind: str, subtype: str, bits: int | None
) -> None:
    path = written(tmp_path, kind=kind, subtype=subtype)
    path.write_bytes(path.read_bytes()[: path.stat().st_size * 3 // 4])
    result = message(path)
    assert "breaks off" in result or "damaged" in result


@given(st.integers(0, 2999), st.integers(0, 1), st.sampled_from([np.nan, np.inf, -np.inf]))
def test_the_first_sample_that_is_no_number_is_named(
    tmp_path_factory: pytest.TempPathFactory, frame: int, track: int, value: float
) -> None:
    samples = NOISE.copy()
    samples[frame, track] = value
    samples[2999, 1] = np.nan
    result = message(written(tmp_path_factory.mktemp("nan"), samples))
    assert f"at sample {frame} " in result
    assert f"track {track + 1}" in result


@pytest.mark.parametrize(
    ("kind", "subtype"), [("WAV", "PCM_U8"), ("FLAC", "PCM_S8"), ("WAV", "ULAW")]
)
def test_coarse_samples_are_refused(tmp_path: Path, kind: str, subtype: str) -> None:
    assert "samples" in message(written(tmp_path, kind=kind, subtype=subtype))


def test_no_samples_are_refused(tmp_path: Path) -> None:
    assert message(written(tmp_path, NOISE[:0])) == "no samples"


def test_a_missing_file_a_folder_and_an_empty_file_are_reported(tmp_path: Path) -> None:
    assert message(tmp_path / "none") == "no such file"
    assert "directory" in message(tmp_path)
    (tmp_path / "empty").touch()
    assert message(tmp_path / "empty") == "an empty file"


def test_what_is_no_recording_is_reported(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    path.write_text("frequency,level\n1000,0\n")
    assert "delimited table" in message(path)
    path.write_bytes(b"\x00\x01\x02" * 50)
    assert "bytes that begin" in message(path)


def test_absurd_sizes_are_refused_from_the_header(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(file_formats, "MAX_SAMPLES", 5999)
    monkeypatch.setattr(soundfile.SoundFile, "read", None)
    assert message(written(tmp_path)) == "62.5 ms of 2 tracks at 48 kHz"
    monkeypatch.setattr(file_formats, "MAX_SAMPLES", 6000)
    with pytest.raises(TypeError, match="NoneType"):  # it got as far as reading
        read_recording(tmp_path / "take")


def in_turn(path: Path, frames: int) -> list[np.ndarray]:
    with open_recording(path, "take.wav") as opened:
        return [opened.read(frames) for _ in range(-(-opened.frames // frames))]


@pytest.mark.parametrize(("kind", "subtype", "bits"), FORMATS)
@pytest.mark.parametrize("frames", [1, 7, 1000, 2999, 3000, 5000])
def test_a_recording_read_in_turn_is_the_same(
    tmp_path: Path, kind: str, subtype: str, bits: int | None, frames: int
) -> None:
    path = written(tmp_path, NOISE[: 300 if frames == 1 else None], kind, subtype)
    assert (np.concatenate(in_turn(path, frames)) == read_recording(path).samples).all()


def test_a_sample_that_is_no_number_is_named_by_its_place_in_the_file(tmp_path: Path) -> None:
    samples = NOISE.copy()
    samples[2998, 1] = np.nan
    with pytest.raises(UserError, match=r"NaN at sample 2998 \(62\.4583 ms\) of track 2"):
        in_turn(written(tmp_path, samples), 1000)


@pytest.mark.parametrize(("kind", "subtype", "bits"), FORMATS)
def test_a_file_cut_short_is_refused_when_read_in_turn(
    tmp_path: Path, kind: str, subtype: str, bits: int | None
) -> None:
    path = written(tmp_path, kind=kind, subtype=subtype)
    path.write_bytes(path.read_bytes()[: path.stat().st_size * 3 // 4])
    with pytest.raises(UserError, match=r"breaks off|damaged"):
        in_turn(path, 500)


@given(st.binary(max_size=400), st.sampled_from(FORMATS))
def test_damage_gives_a_fault_or_a_recording_never_another_error(
    tmp_path_factory: pytest.TempPathFactory, damage: bytes, form: tuple[str, str, int | None]
) -> None:
    path = written(tmp_path_factory.mktemp("damage"), NOISE[:200], form[0], form[1])
    whole = path.read_bytes()
    path.write_bytes(whole[:40] + damage + whole[40 + len(damage) :])
    try:
        sound = bool(np.isfinite(read_recording(path).samples).all())
    except UserError as error:
        sound = len(error.faults) == 1
    assert sound


def test_silence_that_unfolds_without_end_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(audio, "MAX_SAMPLES", 100_000)
    noise = np.random.default_rng(1).normal(size=(200_000, 2)) * 2.0**-23
    for name, samples in (("silence.flac", 0 * noise), ("noise.flac", noise)):
        soundfile.write(tmp_path / name, samples, 48_000, subtype="PCM_24")
    with pytest.raises(UserError, match="400000 samples in"):
        read_recording(tmp_path / "silence.flac")
    assert read_recording(tmp_path / "noise.flac").samples.shape == (200_000, 2)
