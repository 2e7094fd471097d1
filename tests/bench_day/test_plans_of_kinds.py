"""What plans hold for converters, for volume controls and for intermodulation."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path

import numpy as np
import soundfile

from backbench.bench_day.measuring_chain import chain_of
from backbench.bench_day.new_review import ReviewDraft, manifest_text
from backbench.bench_day.plan import Wishes, make_plan
from backbench.bench_day.planned_capture import Plan
from backbench.bench_day.stimuli_files import write_stimuli
from backbench.bench_day.stimuli_writing import Format
from backbench.documents.manifest import read_manifest
from backbench.documents.settings import Settings
from backbench.documents.stimuli import Burst, SquareAndSine, Tone, TwoTones

SETTINGS = Settings.model_validate({"bench": {"garage": {
    "load_uncertainty_percent": 0.5, "generator_uncertainty_percent": 0.5,
    "calibration": [{
        "since": dt.date(2024, 1, 1), "uncertainty_percent": 0.3,
        "volts_peak_at_full_scale": {"1": 60.0, "2": 60.0},
    }],
}}})  # fmt: skip


def planned(kind: str, rate_hz: float = 96_000.0, volume: str | None = None) -> Plan:
    """A plan; rated 20 W where the kind goes by power."""
    loads = (8.0,) if "amplifier" in kind else ()
    facts = {"maker": "Marrowgate", "model": "Dabchick", "kind": kind, "state": "serviced",
             "technology": "solid state", "rated_power_w": 20.0}  # fmt: skip
    draft = ReviewDraft("r", dt.date(2024, 5, 11), "garage", 50.0, "u", facts)
    text = manifest_text(draft)
    if volume:
        text = text.replace("[conditions]", f'[conditions]\nvolume = "{volume}"', 1)
    manifest = read_manifest(text.encode())
    return make_plan(
        manifest, chain_of(manifest, SETTINGS, 26.0), Wishes(loads, rate_hz, gain_db=26.0)
    )


def test_a_converter_plays_stated_levels_and_ends_of_its_band() -> None:
    plan = planned("converter")
    stimuli = [step.stimulus for step in plan.step]
    played = [one for one in stimuli if getattr(one, "full_scale_db", None) is not None]
    at_1k = [one.full_scale_db for one in played if one.tone_hz == 997]
    assert at_1k == [0, -20, -60, -80, -90, -100, -110]
    assert {one.file_rate_hz for one in played} == {44_100}
    assert {one.tone_hz for one in played} == {997, 23, 20_000, 11_025}
    low = [s for s in plan.step if getattr(s.stimulus, "may_lie_in_noise", False)]
    assert all((step.record_s or 0) >= 10 for step in low)
    slow = " ".join(planned("converter", 48_000.0).notes)
    assert "record at 96 kHz" in slow


def test_the_files_of_a_converter_hold_its_levels(tmp_path: Path) -> None:
    """A sine of 20 dB below full scale peaks at a tenth of it; at another rate none is written."""
    plan = planned("converter")
    few = [s for s in plan.step if s.stem in ("tone-1k", "tone-1k-minus20db", "tone-1k-minus110db")]
    plan = plan.model_copy(update={
        "step": [step.model_copy(update={"record_s": 1.0}) for step in few]
    })  # fmt: skip
    made = write_stimuli(tmp_path / "waves", plan, Format(44_100, 16))
    assert made.left_out == []
    for name, db in (("tone-1k", 0.0), ("tone-1k-minus20db", -20.0)):
        samples, rate = soundfile.read(tmp_path / "waves" / f"{name}.wav")
        assert rate == 44_100
        peak = 20 * math.log10(float(np.max(np.abs(samples))))
        assert abs(peak - db) < 0.02
    other = write_stimuli(tmp_path / "other", plan, Format(96_000, 16), dry=True)
    assert len(other.left_out) == 3
    assert "44.1 kHz" in other.left_out[0][1]


def test_a_volume_control_whose_setting_is_stated_is_turned() -> None:
    stated = {step.file: step for step in planned("preamplifier", volume="full").step}
    assert stated["idle-volume-down.wav"].conditions.volume == "min"
    half = stated["tone-1k-volume-half.wav"]
    assert half.conditions.volume == "half"
    assert half.stimulus == stated["tone-1k-2v.wav"].stimulus
    assert not {"idle-volume-down.wav", "tone-1k-volume-half.wav"} & {
        step.file for step in planned("preamplifier").step
    }


def test_intermodulation_of_an_amplifier_is_taken_at_three_powers() -> None:
    plan = planned("power amplifier")
    pairs = [s for s in plan.step if isinstance(s.stimulus, TwoTones) and not s.loop_back]
    assert [s.file for s in pairs if s.file.startswith("two-tones-19k-20k")] == [
        "two-tones-19k-20k.wav", "two-tones-19k-20k-2w.wav", "two-tones-19k-20k-10w.wav",
    ]  # fmt: skip
    (edges,) = [s for s in plan.step if isinstance(s.stimulus, SquareAndSine) and not s.loop_back]
    assert edges.stimulus.low_pass_hz == 30_000
    slow = planned("power amplifier", 48_000.0)
    assert not [s for s in slow.step if isinstance(s.stimulus, SquareAndSine)]
    assert "square-and-sine.wav" in " ".join(slow.notes)


def test_an_input_is_measured_through_a_resistor_at_a_level_of_another_capture() -> None:
    steps = {step.file: step for step in planned("preamplifier").step}
    through = steps["tone-1k-through-47kohm.wav"].stimulus
    straight = steps["tone-1k-2v.wav"].stimulus
    assert isinstance(straight, Tone)
    assert (through.through_hz, through.generator_vrms) == (
        straight.tone_hz, straight.generator_vrms,
    )  # fmt: skip


def test_what_asks_most_of_an_amplifier_comes_last() -> None:
    """One output alone to its limit, rated power above the band, then a burst that clips."""
    steps = [step for step in planned("power amplifier", 192_000.0).step if not step.loop_back]
    alone = [s for s in steps if s.conditions.driven and s.power_w]
    assert {s.conditions.driven for s in alone} == {"left"}
    assert [s.power_w for s in alone] == [10, 15, 20, 23, 26, 30]
    above = [s for s in steps if s.file.startswith("slew-")]
    assert [s.stimulus.frequencies[0] for s in above] == [10_000, 20_000, 25_000]
    rated = next(s for s in steps if s.file == "tone-1k-20w-8ohm.wav")
    levels = {getattr(s.stimulus, "generator_vrms", None) for s in (rated, *above)}
    assert len(levels) == 1
    assert isinstance(steps[-1].stimulus, Burst)
    (level,) = levels
    assert level is not None
    # both are set to three digits
    assert abs(float(steps[-1].stimulus.generator_vrms) / (2 * float(level)) - 1) < 6e-3
    slow = planned("power amplifier", 96_000.0)
    assert not [s for s in slow.step if s.file.startswith("slew-")]
    assert "slew factor is left out" in " ".join(slow.notes)


def test_the_burst_that_is_planned_is_made(tmp_path: Path) -> None:
    """Ten bursts of twenty periods of 997 Hz, silence between them."""
    plan = planned("power amplifier", 96_000.0)
    (burst,) = [s for s in plan.step if isinstance(s.stimulus, Burst)]
    assert write_stimuli(tmp_path, plan.model_copy(update={"step": [burst]}),
                         Format(48_000, 24)).left_out == []  # fmt: skip
    samples, rate = soundfile.read(tmp_path / "burst-overload.wav")
    loud = np.abs(samples) > 0.1 * np.max(np.abs(samples))
    starts = np.flatnonzero(np.diff(loud.astype(int)) == 1)
    apart = np.diff(starts)[np.diff(starts) > 0.1 * rate] / rate
    assert len(apart) >= 9
    assert np.all(np.abs(apart - 0.48) < 0.022)
