"""A manifest entry for a file that the manifest doesn't name: from the plan, or from listening."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from backbench.bench_day.classify_stimulus import RecognisedStimulus, Unknown
from backbench.bench_day.planned_capture import Plan, PlannedStep, capture_table, capture_text
from backbench.documents.stimuli import analysis_kind

AS_PLANNED = "as planned"


@dataclass(frozen=True)
class Suggestion:
    """An entry to add. ready: nothing is left to fill in. warning: what was recognised instead."""

    file: str
    table: dict[str, object]
    ready: bool
    source: str
    warning: str | None = None

    @property
    def text(self) -> str:
        """The entry as it would stand in the manifest."""
        return capture_text(self.table)

    @property
    def as_planned(self) -> bool:
        """Whether it is what the plan states, and nothing else was recognised."""
        return self.source == AS_PLANNED and self.warning is None


def planned_step(plan: Plan | None, file: str) -> PlannedStep | None:
    """The step of the plan that a file was recorded for, by the stem of its name."""
    steps = plan.step if plan else []
    return next((step for step in steps if step.stem == Path(file).stem), None)


def suggested(
    file: str, recognised: RecognisedStimulus | Unknown, plan: Plan | None
) -> Suggestion | None:
    """The entry for a file; None where neither the plan nor the sound tells anything."""
    step = planned_step(plan, file)
    if step is not None:
        table = {**capture_table(step), "file": file}
        return Suggestion(file, table, True, AS_PLANNED, disagreement(step, recognised))
    if isinstance(recognised, Unknown):
        return None
    return _from_sound(file, recognised)


def disagreement(step: PlannedStep, recognised: RecognisedStimulus | Unknown) -> str | None:
    """What was recognised in place of what was planned; None where they agree."""
    return unlike(step.stimulus, recognised)


def unlike(stimulus: object, recognised: RecognisedStimulus | Unknown) -> str | None:
    """What was recognised in place of a stimulus; None where they agree or nothing can be said."""
    kind = analysis_kind(stimulus)  # type: ignore[arg-type]
    if getattr(stimulus, "may_lie_in_noise", False):
        # A tone that the unit itself plays in its own noise sounds like nothing, or like hiss.
        return None
    if isinstance(recognised, Unknown):
        return recognised.reason if recognised.reason.startswith("silence") else None
    if recognised.kind in getattr(stimulus, "sounds_like", ()):
        return None
    if recognised.kind != kind:
        # A square wave through a narrow band is a tone, and a hard-driven tone nearly square.
        return (
            None
            if {recognised.kind, kind} == {"tone", "square"}
            else f"it sounds like {recognised.description}"
        )
    for key in ("tone_hz", "square_hz", "burst_hz", "steps_hz"):
        stated, measured = getattr(stimulus, key, None), recognised.stimulus.get(key)
        if stated and measured and abs(measured / stated - 1) > 0.02:
            return f"it sounds like {recognised.description}"
    return None


def _from_sound(file: str, recognised: RecognisedStimulus) -> Suggestion:
    """The entry with what listening can't know marked for the reviewer."""
    stimulus = dict(recognised.stimulus)
    if recognised.kind == "idle":
        stimulus["idle"] = "FILL IN: how the input was terminated"
    if recognised.kind == "steps":
        stimulus["levels_vrms"] = ["FILL IN"]
    ready = not any("FILL IN" in str(value) for value in stimulus.values())
    table: dict[str, object] = {"file": file, "stimulus": stimulus}
    if recognised.kind == "sweep":
        stimulus["reference_file"] = "FILL IN: the file played, or take this key out"
        ready = False
    return Suggestion(file, table, ready, f"recognised: {recognised.description}")
