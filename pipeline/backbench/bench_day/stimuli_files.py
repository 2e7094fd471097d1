"""Stimuli written as WAV files: one a step, and one long run for each setting of the bench."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from backbench.bench_day.chirp_markers import marker
from backbench.bench_day.planned_capture import Plan, PlannedStep
from backbench.bench_day.run_files import GAP_S, Run, Segment, runs_of
from backbench.bench_day.stimuli_writing import Format, NewFiles
from backbench.bench_day.stimulus_waveforms import Wave, wave
from backbench.errors import Fault, Refusal, UserError
from backbench.ingest.capture_files import found_file
from backbench.quantities.writing import in_text
from backbench.signal.track import Array

UNSCALED_PEAK = 10 ** (-3 / 20)
"""Of a file whose generator has no known volts at full scale: its level is set by hand."""

PLAYED_MARKER_PEAK = 0.1
"""Of markers between tones that a line output plays itself, which harm nothing at that level."""


@dataclass(frozen=True)
class WrittenStimuli:
    """Files written, steps that could not be, with the reason, and the plan as it is played.

    kept: runs and references that stay because they may have been played, for which a file of
    another name was written.
    """

    files: list[Path]
    left_out: list[tuple[str, str]]
    plan: Plan
    kept: list[Path]


def write_stimuli(
    folder: Path, plan: Plan, form: Format, *, review: Path | None = None, dry: bool = False
) -> WrittenStimuli:
    """Every planned stimulus into a folder; the file that a sweep refers to into the review.

    With a generator of known full scale the samples are the planned volts; otherwise each file
    peaks 3 dB below full scale. Runs hold what is not recorded yet. Runs and references that are
    there are never changed, since they may have been played: new ones have names of their own.
    Raises UserError where a level is beyond the generator's reach.
    """
    waves, left_out = _waves(plan, form.rate_hz)
    scaled = {step.file: _scaled(plan, step, one) for step, one in waves}
    _refuse_beyond(scaled)
    new = NewFiles(form)
    for step, _ in waves:
        new.replace(folder / f"{step.stem}.wav", scaled[step.file])
    if review is not None:
        plan = _with_references(plan, scaled, review, new)
    steps = [
        step for step in plan.step
        if step.file in scaled and (review is None or found_file(review, step.file) is None)
    ]  # fmt: skip
    keeps = {step.file: one.keep for step, one in waves}
    for name, together in runs_of(steps).items():
        new.run(folder, _run(name, together, scaled, keeps, form.rate_hz))
    if not dry:
        new.write()
    return WrittenStimuli([*new.samples, *new.layouts], left_out, plan, new.kept)


def _with_references(plan: Plan, scaled: dict[str, Array], review: Path, new: NewFiles) -> Plan:
    """The plan with each sweep referring to the file that holds what is played for it."""
    steps = []
    for planned in plan.step:
        step = planned
        named = getattr(step.stimulus, "reference_file", None)
        recorded = found_file(review, step.file) is not None and (review / (named or "")).is_file()
        if named and step.file in scaled and not recorded:
            path = new.beside(review / named, scaled[step.file])
            stimulus = step.stimulus.model_copy(update={"reference_file": path.name})
            step = step.model_copy(update={"stimulus": stimulus})
        steps.append(step)
    return plan.model_copy(update={"step": steps})


def _waves(
    plan: Plan, rate_hz: int
) -> tuple[list[tuple[PlannedStep, Wave]], list[tuple[str, str]]]:
    made, left_out = [], []
    for step in plan.step:
        if step.played is None:
            continue
        try:
            made.append((step, wave(step.played, rate_hz, step.record_s)))
        except Refusal as refusal:
            left_out.append((step.file, str(refusal)))
    return made, left_out


def _scaled(plan: Plan, step: PlannedStep, made: Wave) -> Array:
    """Samples re digital full scale."""
    below = getattr(step.stimulus, "full_scale_db", None)
    if below is not None:
        return np.asarray(made.volts * (10 ** (below / 20) / math.sqrt(2)))
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


def _marker_peak(steps: Sequence[PlannedStep], scaled: dict[str, Array]) -> float:
    """As loud as the weakest stimulus, but where a unit plays levels that lie in its noise."""
    if any(getattr(step.stimulus, "full_scale_db", None) is not None for step in steps):
        return PLAYED_MARKER_PEAK
    return min(float(np.max(np.abs(scaled[step.file]))) for step in steps)


def _run(
    name: str, steps: Sequence[PlannedStep], scaled: dict[str, Array],
    keeps: dict[str, tuple[float, float]], rate_hz: int,
) -> tuple[Array, Run]:  # fmt: skip
    """A marker before each stimulus and one after the last; with where each lies."""
    mark = marker(rate_hz) * _marker_peak(steps, scaled)
    gap = np.zeros(round(GAP_S * rate_hz))
    parts: list[Array] = [gap]
    at, segments = len(gap), []
    for step in steps:
        begin = at + len(mark) + len(gap)
        low, high = keeps[step.file]
        segments.append(Segment(
            file=step.file, marker_s=at / rate_hz,
            from_s=begin / rate_hz + low, to_s=begin / rate_hz + high, step=step))  # fmt: skip
        parts += [mark, gap, scaled[step.file], gap]
        at = begin + len(scaled[step.file]) + len(gap)
    run = Run(name=name, end_marker_s=at / rate_hz, segment=segments)
    return np.concatenate([*parts, mark, gap]), run
