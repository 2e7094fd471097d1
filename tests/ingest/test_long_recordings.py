"""A long recording in segments of bounded length: the same figures, the same refusals."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from backbench.documents.stimuli import KINDS, Steps, Sweep, Table
from backbench.ingest import recordings
from backbench.ingest.analyse import Analysed, analyse, materials_of
from backbench.ingest.analysis_plan import Job
from backbench.ingest.recordings import most_frames
from backbench.metrics.measurement import measure
from captures import RATE, STIMULI, job, job_of, volts_of

SECONDS = {"square": 6.0}
"""Of a recording, where it isn't 12: one in seven parts is to hold the frames of a figure."""
BESIDE_MAINS = ("tone", "two tones")
"""Stimuli with products at multiples of 50 Hz: with a mains stated, a line that noise makes there
may be hum under one of them, which widens its interval in one record and not in another."""
Row = dict[str, Any]


def at_most(monkeypatch: pytest.MonkeyPatch, work: Job, frames: int) -> None:
    """Let no more frames be analysed at once."""
    cost = work.stimulus.memory(RATE) * max(len(work.roles), 2)
    monkeypatch.setattr(recordings, "PIECE_BYTES", (cost + 1e-6) * frames)


def by_what(analysed: Analysed) -> dict[object, Row]:
    """Readings by what they are of, frequencies as found left out."""
    assert analysed.reason is None
    result: dict[object, Row] = {}
    for row in analysed.readings:
        stated = row["frequency_hz"] if row["metric"] == "tone_level" else None
        result[row["metric"], row["output"], row["order_n"], row["detail"], stated] = row
    assert len(result) == len(analysed.readings)
    return result


@pytest.mark.parametrize("ending", ["w64", "flac"])
@pytest.mark.parametrize("name", [name for name in STIMULI if STIMULI[name].steady])
def test_segments_give_the_figures_of_the_whole(
    name: str, ending: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    volts = volts_of(name, SECONDS.get(name, 12.0))
    work = job(tmp_path / f"long.{ending}", name, volts)
    if name in BESIDE_MAINS:
        work = replace(work, mains_hz=None)
    whole = by_what(analyse(work))
    at_most(monkeypatch, work, -(-len(volts) // 7))
    parted = by_what(analyse(work))
    assert whole.keys() == parted.keys()
    for key, one in whole.items():
        other = parted[key]
        assert other["status"] == one["status"], key
        if one["value"] is None:
            continue
        assert re.search("(mean|highest) of 7 segments", other["reason"])
        apart, u = other["value"] - one["value"], other["uncertainty"]
        if one["bound"] is None:
            assert abs(apart) <= 2 * u, key
            assert u >= one["uncertainty"] * 0.99, key
        else:  # a shorter record tells less: its bound is wider
            assert apart * (1 if one["bound"] == "upper" else -1) >= -4 * u, key


def test_up_to_the_limit_a_recording_is_measured_as_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    volts = volts_of("tone", 1.0)
    work = job(tmp_path / "short.wav", "tone", volts)
    at_most(monkeypatch, work, len(volts))
    findings, _ = measure(next(materials_of(work)))
    given = {r["reading_key"]: r["value"] for r in analyse(work).readings if r["value"] is not None}
    assert list(given.values()) == [f.figure.value for f in findings if f.figure]
    at_most(monkeypatch, work, len(volts) - 1)
    assert len(list(materials_of(work))) == 2


def test_segments_are_equal_and_end_to_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    volts = volts_of("idle", 1.0)[:47_999]
    work = job(tmp_path / "long.wav", "idle", volts, subtype="DOUBLE")
    at_most(monkeypatch, work, 10_000)
    parts = [capture_data.outputs[2].volts for capture_data in materials_of(work)]
    assert [len(part) for part in parts] == [9599] * 5  # and four samples that are only looked at
    np.testing.assert_allclose(np.concatenate(parts), volts[:-4, 1], atol=1e-14)


@pytest.mark.parametrize("frame", [0, 20_000, 39_000, 47_998])
def test_a_sample_that_is_no_number_is_found_in_any_segment(
    frame: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    volts = volts_of("tone", 1.0)[:47_999]
    volts[frame, 1] = np.nan
    work = job(tmp_path / "long.wav", "tone", volts, subtype="FLOAT")
    at_most(monkeypatch, work, 13_000)
    analysed = analyse(work)
    assert f"NaN at sample {frame} " in (analysed.reason or "")
    assert not analysed.readings
    assert not analysed.curves


def test_a_recording_that_breaks_off_is_refused_after_any_number_of_segments(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "long.flac"
    work = job(path, "tone", volts_of("tone", 2.0))
    path.write_bytes(path.read_bytes()[:-3000])
    at_most(monkeypatch, work, 13_000)
    assert "changed bytes" in (analyse(work).reason or "")
    shortened = analyse(job_of(path, "tone"))
    assert re.search("breaks off|damaged audio", shortened.reason or "")
    assert not shortened.readings


def test_what_one_segment_lacks_is_refused_for_the_recording(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    volts = volts_of("tone", 4.0)
    volts[3 * RATE :, 0] = 0.0
    work = job(tmp_path / "long.wav", "tone", volts)
    at_most(monkeypatch, work, RATE)
    result = {(r["metric"], r["output"]): r for r in analyse(work).readings}
    left, right = result["level", "left"], result["level", "right"]
    assert left["status"] == "rejected"
    assert left["reason"] == (
        "in segment 4 of 4: silence: every sample is the same, so nothing was recorded; "
        "check cables, input and recording level, and record again"
    )
    assert right["status"] == "measured"


@pytest.mark.parametrize("name", ["sweep", "steps", "burst", "transport"])
def test_what_has_a_course_through_time_is_refused_in_words(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    work = job(tmp_path / "long.flac", name, volts_of(name, 2.0)[: 2 * RATE])
    at_most(monkeypatch, work, RATE)
    assert analyse(work).reason == (
        f"long.flac: found 2 s of 3 tracks at 48 kHz; expected at most 1 s of the stimulus "
        f"'{name}', which is measured whole; cut it to what is measured"
    )


def test_of_a_long_loop_back_the_first_segment_is_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Noise of the bench half as strong as the sum of both: sqrt(3) / 2 is left of the sum."""
    bench = job(tmp_path / "bench.wav", "idle", volts_of("idle", 8.0, noise=1e-4, seed=5))
    volts = volts_of("idle", 8.0, noise=2e-4, seed=6)
    unit = job(tmp_path / "unit.wav", "idle", volts, bench=bench)
    at_most(monkeypatch, unit, 2 * RATE)
    (capture_data, *others) = materials_of(unit)
    assert [one.bench is capture_data.bench for one in others] == [True] * 3
    assert capture_data.bench is not None
    assert len(capture_data.bench.outputs[1].volts) == 2 * RATE
    hiss = next(r for r in analyse(unit).readings if r["metric"] == "hiss")
    alone = next(r for r in analyse(job(tmp_path / "alone.wav", "idle", volts)).readings
                 if r["metric"] == "hiss")  # fmt: skip
    assert hiss["value"] == pytest.approx(math.sqrt(0.75) * alone["value"], rel=0.02)


def test_every_recorded_stimulus_has_its_limit() -> None:
    assert {one.kind for one in STIMULI.values()} == {k.kind for k in KINDS if k is not Table}
    assert all(0 < most_frames(stimulus, 2, 48e3) < 1e8 for stimulus in STIMULI.values())
    one, two, three = (most_frames(STIMULI["idle"], n, 192e3) for n in (1, 2, 3))
    assert one == two > three


def test_of_long_steps_less_is_measured_at_once() -> None:
    """They are looked for by every length that they may have, wherever they may begin."""
    short, long = (Steps(steps_hz=1000.0, step_s=s, levels_vrms=[0.1, 0.2]) for s in (1.0, 40.0))
    assert most_frames(short, 2, 192e3) == most_frames(short, 2, 48e3)
    assert most_frames(long, 2, 48e3) == 30 * 48_000


def test_of_a_sweep_far_below_half_the_rate_more_is_measured_at_once() -> None:
    audio, wide = (
        Sweep(sweep_hz=[20.0, hz], sweep_s=10.0, generator_vrms=1.0) for hz in (20e3, 90e3)
    )
    assert most_frames(audio, 2, 192e3) > 30 * 192_000 > most_frames(wide, 2, 192e3)
