"""What is heard in simulated captures, and that music, noise and silence are left unnamed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

import heard_sounds as sounds
from backbench.bench_day import folder_scan
from backbench.bench_day.classify_stimulus import RecognisedStimulus, Unknown, recognise
from backbench.bench_day.folder_scan import scan_files
from backbench.readers import declaration
from tones import sines


@pytest.mark.parametrize("kind", sorted(set(sounds.KINDS)))
def test_a_stimulus_is_heard(kind: str) -> None:
    rng = np.random.default_rng(7)
    right = 0
    for _ in range(6):
        (samples, rate, bits), expected = sounds.capture(kind, rng)
        heard = recognise(samples, rate, bits)
        right += (
            isinstance(heard, RecognisedStimulus) and heard.kind == kind
            and all(heard.stimulus.get(key) == value for key, value in expected.items())
        )  # fmt: skip
    assert right >= 5


@pytest.mark.parametrize("name", sorted(sounds.NO_STIMULUS))
def test_what_is_no_stimulus_is_left_unnamed(name: str) -> None:
    rng = np.random.default_rng(11)
    for _ in range(12):
        samples, rate, bits = sounds.NO_STIMULUS[name](rng)
        assert isinstance(recognise(samples, rate, bits), Unknown)


def test_a_scrap_is_too_short_to_tell() -> None:
    assert isinstance(recognise(np.ones((100, 2)), 48_000, 24), Unknown)


def test_the_words_do_not_depend_on_level_polarity_or_order_of_tracks() -> None:
    (samples, rate, bits), _ = sounds.capture("two tones", np.random.default_rng(3))
    first = recognise(samples, rate, bits)
    assert recognise(-0.5 * samples[:, ::-1], rate, bits) == first


def test_a_long_recording_is_heard_from_its_beginning_and_looked_at_to_its_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(folder_scan, "MOST_SAMPLES", 48_000)
    monkeypatch.setattr(declaration, "BLOCK_SAMPLES", 10_000)
    volts = sines(48_000, 3.0, {1000.0: 0.5})
    for name, last in (("whole.wav", 0.0), ("broken.wav", np.nan)):
        volts[-1] = last
        soundfile.write(tmp_path / name, np.stack([volts, volts], axis=1), 48_000, subtype="FLOAT")
    result = scan_files(tmp_path, sorted(tmp_path.iterdir()))
    assert result["whole.wav"].recognised == recognise(volts[:48_000, None], 48_000, None)
    assert result["broken.wav"].fault is not None
    assert "NaN at sample 143999 " in result["broken.wav"].fault.found
