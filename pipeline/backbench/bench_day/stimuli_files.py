"""Stimuli written as WAV files: one a step, and one long run for each setting of the bench."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from backbench.bench_day.capture_files import found_file
from backbench.bench_day.chirp_markers import marker
from backbench.bench_day.planned_capture import Plan, PlannedStep
from backbench.bench_day.run_files import GAP_S, Run, Segment, run_text, runs_of
from backbench.bench_day.stimulus_waveforms import Wave, wave
from backbench.errors import Fault, Refusal, UserError
from backbench.quantities.writing import in_text
from backbench.signal.track import Array
from backbench.storage.atomic_io import write_text_file

SUBTYPES = {16: "PCM_16", 24: "PCM_24", 32: "FLOAT"}
UNSCALED_PEAK = 10 ** (-3 / 20)
"""Of a file whose generator has no known volts at full scale: its level is set by hand."""


@dataclass(frozen=True)
class Format:
    rate_hz: int
    bits: int


@dataclass(frozen=True)
class WrittenStimuli:
    """Files written, and steps that could not be, with the reason."""

    files: list[Path]
    left_out: list[tuple[str, str]]


def write_stimuli(
    folder: Path, plan: Plan, form: Format, *, review: Path | None = None, dry: bool = False
) -> WrittenStimuli:
    """Every planned stimulus into a folder; the file that a sweep refers to into the review.

    With a generator of known full scale the samples are the planned volts; otherwise each file
    peaks 3 dB below full scale. Raises UserError where a level is beyond the generator's reach.
    """
    waves, left_out = _waves(plan, form.rate_hz)
    scaled = {step.file: _scaled(plan, step, one) for step, one in waves}
    _refuse_beyond(scaled)
    to_write: dict[Path, Array] = {
        folder / f"{step.stem}.wav": scaled[step.file] for step, _ in waves
    }
    for step, _ in waves:
        played = getattr(step.stimulus, "reference_file", None)
        if played and review is not None and not _in_use(review, step, played):
            to_write[review / played] = scaled[step.file]
    layouts: dict[Path, str] = {}
    for name, steps in runs_of([step for step, _ in waves]).items():
        keeps = {step.file: one.keep for step, one in waves}
        samples, run = _run(name, steps, scaled, keeps, form.rate_hz)
        to_write[folder / f"{name}.wav"] = samples
        layouts[folder / f"{name}.toml"] = run_text(run)
    if not dry:
        _write(to_write, layouts, form)
    return WrittenStimuli([*to_write, *layouts], left_out)


def _in_use(review: Path, step: PlannedStep, played: str) -> bool:
    """Whether a recording was made with the reference that is there: then it stays as it is."""
    return (review / played).is_file() and found_file(review, step.file) is not None


def _waves(
    plan: Plan, rate_hz: int
) -> tuple[list[tuple[PlannedStep, Wave]], list[tuple[str, str]]]:
    made, left_out = [], []
    for step in plan.step:
        if step.played is None:
            continue
        try:
            made.append((step, wave(step.played, rate_hz)))
        except Refusal as refusal:
            left_out.append((step.file, str(refusal)))
    return made, left_out


def _scaled(plan: Plan, step: PlannedStep, made: Wave) -> Array:
    """Samples re digital full scale."""
    level = getattr(step.stimulus, "generator_vrms", getattr(step.stimulus, "generator_vpp", None))
    if plan.full_scale_v is None or level == "unknown":
        return made.volts * (UNSCALED_PEAK / float(np.max(np.abs(made.volts))))
    return made.volts / plan.full_scale_v


def _refuse_beyond(scaled: dict[str, Array]) -> None:
    faults = [
        Fault(file, f"{in_text(20 * math.log10(peak), 'dB')} above the generator's full scale",
              "a level that it reaches", "put gain behind the generator, or plan less power")
        for file, samples in scaled.items() if (peak := float(np.max(np.abs(samples)))) > 1
    ]  # fmt: skip
    if faults:
        raise UserError("the generator can't play the plan", faults)


def _run(
    name: str, steps: Sequence[PlannedStep], scaled: dict[str, Array],
    keeps: dict[str, tuple[float, float]], rate_hz: int,
) -> tuple[Array, Run]:  # fmt: skip
    """A marker before each stimulus and one after the last; with where each lies."""
    quiet = min(float(np.max(np.abs(scaled[step.file]))) for step in steps)
    mark = marker(rate_hz) * quiet
    gap = np.zeros(round(GAP_S * rate_hz))
    parts: list[Array] = [gap]
    at, segments = len(gap), []
    for step in steps:
        begin = at + len(mark) + len(gap)
        low, high = keeps[step.file]
        segments.append(Segment(
            file=step.file, marker_s=at / rate_hz,
            from_s=begin / rate_hz + low, to_s=begin / rate_hz + high))  # fmt: skip
        parts += [mark, gap, scaled[step.file], gap]
        at = begin + len(scaled[step.file]) + len(gap)
    run = Run(name=name, end_marker_s=at / rate_hz, segment=segments)
    return np.concatenate([*parts, mark, gap]), run


def _write(to_write: dict[Path, Array], layouts: dict[Path, str], form: Format) -> None:
    import soundfile

    for path, samples in to_write.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        kept = _dithered(samples, form.bits)
        soundfile.write(path, kept, form.rate_hz, subtype=SUBTYPES[form.bits], format="WAV")
    for path, text in layouts.items():
        write_text_file(path, text)


def _dithered(samples: Array, bits: int) -> Array:
    """Triangular dither of one step each way, the same every time; none for floating point."""
    if bits == 32:
        return samples
    rng = np.random.default_rng(bits)
    step = 2.0 ** -(bits - 1)
    noise = (rng.random(len(samples)) - rng.random(len(samples))) * step
    return np.asarray(np.clip(samples + noise, -1.0, 1.0 - step))
