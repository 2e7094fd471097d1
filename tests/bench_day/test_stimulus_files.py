"""Stimuli as samples and as files; markers; a long recording cut."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from backbench.bench_day.chirp_markers import find_markers, marker, markers_in_turn
from backbench.bench_day.cut_run import cut_run
from backbench.bench_day.planned_capture import PLAN_NAME, Plan, PlannedStep, plan_text
from backbench.bench_day.run_files import read_run
from backbench.bench_day.stimuli_files import write_stimuli
from backbench.bench_day.stimuli_writing import Format
from backbench.bench_day.stimulus_waveforms import wave
from backbench.cli import app
from backbench.documents.stimuli import (
    Burst,
    Idle,
    Multitone,
    SquareWave,
    Steps,
    Sweep,
    Tone,
    TwoTones,
)
from backbench.errors import Refusal, UserError
from backbench.readers import declaration
from backbench.signal.tone_search import find_tone
from backbench.signal.track import Track

LEVELS = {
    "tone": Tone(tone_hz=1000.0, generator_vrms=0.3),
    "two tones": TwoTones(tones_hz=[60.0, 7000.0], ratio=4.0, generator_vrms=0.3),
    "multitone": Multitone(multitone_hz=[100.0, 330.0, 1010.0, 5000.0], generator_vrms=0.3),
}


def kept(stimulus, rate: int = 96_000) -> np.ndarray:  # type: ignore[no-untyped-def]
    made = wave(stimulus, rate)
    return made.volts[round(made.keep[0] * rate) : round(made.keep[1] * rate)]


@pytest.mark.parametrize("stimulus", LEVELS.values(), ids=LEVELS)
def test_the_level_is_the_rms_as_stated(stimulus: Tone) -> None:
    assert np.sqrt(np.mean(kept(stimulus) ** 2)) == pytest.approx(0.3, rel=1e-3)


def test_two_tones_stand_in_their_ratio() -> None:
    spectrum = np.abs(np.fft.rfft(kept(LEVELS["two tones"], 48_000)))
    per_hz = len(kept(LEVELS["two tones"], 48_000)) / 48_000
    assert spectrum[round(60 * per_hz)] / spectrum[round(7000 * per_hz)] == pytest.approx(4, 1e-3)


def test_a_square_wave_reaches_its_peak_to_peak_and_does_not_fold() -> None:
    volts = kept(SquareWave(square_hz=1000.0, generator_vpp=2.0))
    assert np.median(np.abs(volts)) == pytest.approx(1.0, rel=0.02)
    spectrum = np.abs(np.fft.rfft(volts)) / len(volts)
    hz = np.fft.rfftfreq(len(volts), 1 / 96_000)
    odd = np.isin(np.rint(hz / 500).astype(int), range(2, 200, 4)) & (np.abs(hz % 1000) < 1e-6)
    assert spectrum[~odd].max() < 1e-6 * spectrum.max()


def test_steps_and_bursts_have_the_times_as_stated() -> None:
    steps = wave(Steps(steps_hz=1000.0, step_s=0.5, levels_vrms=[0.1, 0.2, 0.4]), 48_000)
    levels = np.sqrt(np.mean(steps.volts.reshape(3, -1) ** 2, axis=1))
    assert levels == pytest.approx([0.1, 0.2, 0.4], rel=1e-3)
    burst = Burst(burst_hz=1000.0, on_ms=20.0, period_ms=500.0, generator_vrms=0.3)
    assert np.count_nonzero(np.abs(kept(burst, 48_000)) > 0.01) / len(kept(burst, 48_000)) == (
        pytest.approx(0.04, rel=0.1)
    )


def test_a_sweep_spends_equal_times_in_octaves() -> None:
    made = wave(Sweep(sweep_hz=[20.0, 20_000.0], sweep_s=2.0, generator_vrms=1.0), 96_000)
    at = [np.flatnonzero(np.diff(np.signbit(made.volts[9600 : 9600 + 192_000])))]
    periods = 2 * np.diff(at[0]) / 96_000
    # The middle of an exponential sweep is the geometric mean of its ends.
    middle = periods[np.argmin(np.abs(at[0][1:] - 96_000))]
    assert 1 / middle == pytest.approx(math.sqrt(20 * 20_000), rel=0.05)


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_a_rate_that_cannot_hold_a_stimulus_is_refused(rate: int) -> None:
    with pytest.raises(Refusal, match="needs a sample rate of at least"):
        wave(Sweep(sweep_hz=[10.0, 40_000.0], sweep_s=1.0, generator_vrms=1.0), rate)


def test_nothing_is_played_for_idle() -> None:
    with pytest.raises(Refusal, match="nothing is played"):
        wave(Idle(idle="input shorted"), 48_000)


# Files, markers, cutting ----------------------------------------------------------------------


def step(file: str, hz: float, level: float | str = 0.3) -> PlannedStep:
    return PlannedStep(file=file, stimulus={"tone_hz": hz, "generator_vrms": level}, why="a test")


PLAN = Plan(
    review="2024-05-heron", full_scale_v=2.0,
    step=[step("one.wav", 1000.0), step("two.wav", 3000.0, 0.6), step("three.wav", 100.0, 0.02)],
)  # fmt: skip


@pytest.mark.parametrize(("bits", "subtype"), [(16, "PCM_16"), (24, "PCM_24"), (32, "FLOAT")])
def test_files_hold_the_planned_volts_at_any_depth(tmp_path: Path, bits: int, subtype: str) -> None:
    write_stimuli(tmp_path, PLAN, Format(48_000, bits))
    samples, rate = soundfile.read(tmp_path / "two.wav")
    assert (rate, soundfile.info(tmp_path / "two.wav").subtype) == (48_000, subtype)
    volts = 2.0 * samples[round(0.5 * rate) : round(1.5 * rate)]
    result = find_tone(Track(volts, rate, 2.0, 0.0, None), 3000.0, None)
    assert result.fundamental.rms == pytest.approx(0.6, rel=1e-4)


def test_a_run_and_its_layout_carry_a_caution(tmp_path: Path) -> None:
    (tmp_path / "review").mkdir()
    plan = Plan(review="x", full_scale_v=4.0, step=[step("a.wav", 1000.0)])
    (tmp_path / "review" / PLAN_NAME).write_text(plan_text(plan))
    words = ["stimuli", str(tmp_path / "review"), str(tmp_path / "waves")]
    ran = CliRunner().invoke(app, words)
    assert ran.exit_code == 0, ran.output
    (layout,) = (tmp_path / "waves").glob("run-*.toml")
    comments = [line for line in layout.read_text().splitlines() if line.startswith("#")]
    in_file = " ".join(line.removeprefix("# ") for line in comments)
    for message in (in_file, ran.output):
        for word in ("greatest powers", "Stay beside the load", "hot", "smell or smoke",
                     "local codes", "licensed"):  # fmt: skip
            assert word in message
    assert read_run(layout).segment[0].file == "a.wav"


def test_a_level_beyond_the_generator_is_reported(tmp_path: Path) -> None:
    loud = PLAN.model_copy(update={"step": [step("loud.wav", 1000.0, 3.0)]})
    with pytest.raises(UserError, match=r"loud\.wav: found 6\.53 dB above the generator's full"):
        write_stimuli(tmp_path / "none", loud, Format(48_000, 24))
    assert not (tmp_path / "none").exists()


def test_a_dry_run_writes_nothing(tmp_path: Path) -> None:
    written = write_stimuli(tmp_path, PLAN, Format(48_000, 24), dry=True)
    assert len(written.files) == 5
    assert list(tmp_path.iterdir()) == []


@settings(max_examples=8, deadline=None)
@given(
    gain=st.floats(1e-3, 0.5), flipped=st.booleans(), delay=st.integers(0, 40_000),
    seed=st.integers(0, 2**16),
)  # fmt: skip
def test_markers_are_found_at_any_gain_polarity_and_delay(
    gain: float, flipped: bool, delay: int, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    samples = 1e-3 * gain * rng.standard_normal(delay + 60_000)
    mark = marker(48_000) * gain * (-1 if flipped else 1)
    for at in (delay, delay + 30_000):
        samples[at : at + len(mark)] += mark
    result = find_markers(samples, 48_000)
    assert result * 48_000 == pytest.approx([delay, delay + 30_000], abs=2)


@given(
    st.lists(st.integers(0, 180_000), min_size=1, max_size=6),
    st.lists(st.integers(1, 70_000), min_size=1, max_size=12),
)
@settings(max_examples=25)
def test_markers_are_found_wherever_blocks_end(places: list[int], blocks: list[int]) -> None:
    samples = 1e-3 * np.random.default_rng(1).standard_normal(200_000)
    mark = marker(48_000)
    for at in places:
        samples[at : at + len(mark)] += mark
    parts = np.split(samples, np.cumsum(blocks)[np.cumsum(blocks) < len(samples)])
    result = markers_in_turn(iter(parts), 48_000)
    np.testing.assert_allclose(result * 48_000, find_markers(samples, 48_000) * 48_000, atol=1e-6)


def recorded(folder: Path, rate: int, clock: float = 1.0) -> Path:
    """The run as another machine records it: other rate, late, fainter, upside down."""
    samples, played_rate = soundfile.read(folder / "run-all.wav")
    time = np.arange(round(len(samples) / played_rate * rate)) / rate * clock
    again = np.interp(time, np.arange(len(samples)) / played_rate, samples)
    path = folder / "recorded.wav"
    soundfile.write(
        path, np.concatenate([np.zeros(rate // 3), -0.3 * again]), rate, subtype="PCM_24"
    )
    return path


@pytest.mark.parametrize(("rate", "clock"), [(48_000, 1.0), (96_000, 1.0001), (44_100, 0.9999)])
def test_a_run_is_cut_into_its_captures(tmp_path: Path, rate: int, clock: float) -> None:
    write_stimuli(tmp_path, PLAN, Format(48_000, 24))
    run = read_run(tmp_path / "run-all.toml")
    cut_run(recorded(tmp_path, rate, clock), run, tmp_path / "review")
    for name, hz, level in (("one", 1000.0, 0.3), ("two", 3000.0, 0.6), ("three", 100.0, 0.02)):
        samples, found_rate = soundfile.read(tmp_path / "review" / f"{name}.wav")
        result = find_tone(Track(2.0 * samples, found_rate, 2.0, 0.0, 24), hz, None)
        assert result.fundamental.rms == pytest.approx(0.3 * level, rel=0.02)
        assert result.frequency_hz == pytest.approx(hz * clock, rel=1e-5)


def test_a_run_is_cut_alike_whatever_the_length_of_a_block(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each capture holds exactly the samples of the recording from its first on."""
    write_stimuli(tmp_path, PLAN, Format(48_000, 24))
    path, run = recorded(tmp_path, 48_000), read_run(tmp_path / "run-all.toml")
    whole = cut_run(path, run, tmp_path / "whole")
    monkeypatch.setattr(declaration, "BLOCK_SAMPLES", 10_007)
    parted = cut_run(path, run, tmp_path / "parted")
    samples, _ = soundfile.read(path, dtype="int32")
    for one, other in zip(whole, parted, strict=True):
        assert (one.first, one.last) == (other.first, other.last)
        for cut in (one, other):
            kept, _ = soundfile.read(cut.path, dtype="int32")
            np.testing.assert_array_equal(kept, samples[cut.first : cut.last])


def test_a_recording_without_all_markers_is_refused_whole(tmp_path: Path) -> None:
    write_stimuli(tmp_path, PLAN, Format(48_000, 24))
    samples, rate = soundfile.read(tmp_path / "run-all.wav")
    soundfile.write(tmp_path / "short.wav", samples[: len(samples) // 2], rate, subtype="PCM_24")
    with pytest.raises(UserError, match=r"of 4 markers.*missing before: .*the end"):
        cut_run(tmp_path / "short.wav", read_run(tmp_path / "run-all.toml"), tmp_path / "review")
    assert not (tmp_path / "review").exists()


def test_a_capture_that_is_there_is_never_overwritten(tmp_path: Path) -> None:
    write_stimuli(tmp_path, PLAN, Format(48_000, 24))
    run = read_run(tmp_path / "run-all.toml")
    recording = recorded(tmp_path, 48_000)
    cut_run(recording, run, tmp_path / "review")
    with pytest.raises(UserError, match="an existing file"):
        cut_run(recording, run, tmp_path / "review")
