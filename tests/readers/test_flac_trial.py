"""Large FLAC files are opened and searched by a process that may be ended."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from backbench.errors import UserError
from backbench.readers import flac_trial, limited_process
from backbench.readers.file_formats import open_recording, read_recording
from corpus.hostile_headers import hostile_headers


@pytest.fixture(autouse=True)
def every_file_is_large(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(flac_trial, "SMALL_BYTES", 0)


def test_a_sound_file_is_read_and_tried_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.flac"
    wave = np.random.default_rng(1).normal(size=(20_000, 2)) * 0.1
    soundfile.write(path, wave, 48000, subtype="PCM_24")
    np.testing.assert_allclose(read_recording(path).samples, wave, atol=2**-23)
    monkeypatch.setattr(flac_trial, "read_in_process", None)
    with open_recording(path) as opened:
        assert opened.frames == 20_000


def test_a_damaged_file_is_refused_by_the_trial(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.flac"
    path.write_bytes(dict(hostile_headers())["hostile-flac-noise.bin"])
    opened: list[Path] = []
    monkeypatch.setattr("backbench.readers.audio._opened", opened.append)
    with pytest.raises(UserError, match=r"damaged audio \(.+\); expected a whole recording"):
        read_recording(path)
    assert not opened


def test_a_file_that_takes_too_long_is_given_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.flac"
    soundfile.write(path, np.zeros((2000, 1)), 48000, subtype="PCM_24")
    monkeypatch.setattr(limited_process, "TIME_S", 0)
    with pytest.raises(UserError, match="given up: it takes more than 0 s to read"):
        read_recording(path)


def test_other_containers_are_not_tried(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(flac_trial, "read_in_process", None)
    for container in ("WAV", "RF64", "W64", "AIFF", "CAF", "AU"):
        path = tmp_path / f"a.{container}"
        soundfile.write(path, np.ones((100, 1)) * 0.1, 48000, format=container, subtype="PCM_24")
        assert len(read_recording(path).samples) == 100
