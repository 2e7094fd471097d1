"""Which tone of a session is held against the sample rate of a record with nothing playing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from backbench.ingest.analysis_plan import plan_review
from backbench.ingest.receive import receive
from faults.small_catalogue import MANIFEST, small_catalogue

CAPTURE = '\n[[capture]]\nfile = "{file}"\nstimulus = {{ {stimulus} }}\n'
SPEED, REFERENCE = "transport_hz = 3150", "tone_hz = 1000, generator_vrms = 0.5"


def _witness(folder: Path, rate: int, tones: dict[str, tuple[str, int]]) -> str | None:
    """The file of the tone beside a record of one rate, of a session with these tones."""
    catalogue = small_catalogue(folder / "catalogue")
    review = folder / "hush"
    review.mkdir()
    head = MANIFEST.split("\n[[capture]]")[0].format(key="hush", version=1)
    entries = {"idle.wav": ('idle = "input shorted"', rate), **tones}
    for name, (_, hz) in entries.items():
        noise = np.random.default_rng(3).normal(size=hz // 10)
        soundfile.write(review / name, 0.1 * noise, hz, subtype="PCM_24")
    captures = (CAPTURE.format(file=name, stimulus=text) for name, (text, _) in entries.items())
    (review / "review.toml").write_text(head + "".join(captures))
    places = catalogue.places
    manifest, receipt = receive(review, places.vault, {})
    planned = plan_review(manifest, receipt, places.settings, places.vault)
    job = next(one.job for one in planned.captures if one.capture.file == "idle.wav")
    assert job is not None
    return job.witness.source.name if job.witness else None


@pytest.mark.parametrize(("rate", "chosen"), [
    (48_000, "at-48.wav"), (96_000, "at-96.wav"), (44_100, "at-48.wav"),
])  # fmt: skip
def test_a_tone_under_the_same_stated_rate_is_taken_where_there_is_one(
    tmp_path: Path, rate: int, chosen: str
) -> None:
    tones = {"at-48.wav": (REFERENCE, 48_000), "at-96.wav": (REFERENCE, 96_000)}
    assert _witness(tmp_path, rate, tones) == chosen


@pytest.mark.parametrize(("speed_rate", "chosen"), [(48_000, "played.wav"), (16_000, "tone.wav")])
def test_a_generators_tone_goes_before_a_played_one_of_the_same_rate(
    tmp_path: Path, speed_rate: int, chosen: str
) -> None:
    of_both = {"played.wav": (SPEED, speed_rate), "tone.wav": (REFERENCE, 48_000)}
    assert _witness(tmp_path, 48_000, of_both) == "tone.wav"
    lone = tmp_path / "lone"
    lone.mkdir()
    other = 96_000 if chosen == "played.wav" else 48_000
    tones = {"played.wav": (SPEED, speed_rate), "tone.wav": (REFERENCE, other)}
    assert _witness(lone, 48_000, tones) == chosen


def test_a_session_without_tones_has_no_witness(tmp_path: Path) -> None:
    assert _witness(tmp_path, 48_000, {}) is None
