"""A tone in steps of rising level within one file: each step is measured as a tone."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

from backbench.documents.stimuli import Steps, Tone
from backbench.errors import Refusal
from backbench.metrics.declaration import CaptureData, view
from backbench.metrics.level_part import LevelPart
from backbench.metrics.steady_part import steady_part
from backbench.metrics.tone import tone_view
from backbench.quantities.writing import in_text
from backbench.signal.level_steps import LevelStep, find_steps
from backbench.signal.record_checks import check_record
from backbench.signal.track import Track

DETECTABLE_STEP_DB = 0.5
"""Stated levels nearer to each other than this are not held against each other."""
LEVEL_WITHIN_DB = 1.0
"""How far a generator's recorded steps may be from the stated ones."""
MORE_AT_OUTPUT_DB = 6.0
"""An output may rise by this much more than its drive, where crossover distortion rules below."""


@view("steps", version=7, parts="tone")
def steps(capture_data: CaptureData, number: int) -> Iterator[LevelPart]:
    """Each level of output track `number` in turn, seen as a tone capture of its own.

    The steps are looked for in the generator's track where there is one, else in the driven
    output. Raises Refusal where they aren't the stated ones.
    """
    stimulus = capture_data.stimulus
    assert isinstance(stimulus, Steps)
    source = _source(capture_data, number)
    check_record(replace(source, full_scale_v=math.inf))
    steps = find_steps(
        source.volts, source.rate_hz, stimulus.steps_hz, stimulus.step_s, len(stimulus.levels_vrms)
    )
    _refuse_others(stimulus.levels_vrms, steps, recorded=source is capture_data.generator)
    # In turn, so that the spectra of one step are let go before the next is looked at.
    return _parts(capture_data, number, steps)


def _source(capture_data: CaptureData, number: int) -> Track:
    if capture_data.generator is not None:
        return capture_data.generator
    return capture_data.outputs.get(
        capture_data.driven_track or number, capture_data.outputs[number]
    )


def _refuse_others(stated: list[float], steps: list[LevelStep], *, recorded: bool) -> None:
    """Raise Refusal where a step's change of level can't come from the stated drive."""
    for position, ((low, high), (a, b)) in enumerate(
        zip(pairwise(stated), pairwise(steps), strict=True), start=1
    ):
        wanted, rise = 20 * math.log10(high / low), b.level_db - a.level_db
        # A limited output holds its level while its drive rises.
        least = (wanted if recorded else min(wanted, 0.0)) - LEVEL_WITHIN_DB
        most = wanted + (LEVEL_WITHIN_DB if recorded else MORE_AT_OUTPUT_DB)
        if abs(wanted) >= DETECTABLE_STEP_DB and not least <= rise <= most:
            raise Refusal(
                f"the level changes by {in_text(rise, 'dB', 2)} from step {position} to "
                f"step {position + 1}, "
                f"not by {in_text(wanted, 'dB', 2)} as stated: these aren't the stated steps"
            )


def _parts(capture_data: CaptureData, number: int, steps: list[LevelStep]) -> Iterator[LevelPart]:
    stimulus = capture_data.stimulus
    assert isinstance(stimulus, Steps)
    for level, step in zip(stimulus.levels_vrms, steps, strict=True):
        part = replace(
            capture_data,
            stimulus=Tone(tone_hz=stimulus.steps_hz, generator_vrms=level),
            outputs={n: _cut(track, step) for n, track in capture_data.outputs.items()},
            generator=None
            if capture_data.generator is None
            else _cut(capture_data.generator, step),
        )
        try:
            seen: object = tone_view.build(steady_part(part, number).capture_data, number)
        except Refusal as refusal:
            seen = refusal
        yield LevelPart(seen, level)


def _cut(track: Track, step: LevelStep) -> Track:
    return replace(track, volts=track.volts[step.first : step.last])
