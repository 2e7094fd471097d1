"""A plan of captures: what it holds, and the file that it is kept in beside the manifest."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from backbench.documents.manifest import Conditions, TrackRole, by_marker
from backbench.documents.stimuli import Idle, Stimulus
from backbench.documents.strict_model import Strict
from backbench.documents.toml_writing import block, item_of, lines_of, table_of
from backbench.documents.unit_facts import Key, Name
from backbench.documents.validation import read_bytes, read_checked

PLAN_NAME = "plan.toml"
Watts = Annotated[float, Field(gt=0)]
Volts = Annotated[float, Field(gt=0)]
Seconds = Annotated[float, Field(gt=0)]
Note = Annotated[str, Field(min_length=1, max_length=2000)]


class PlannedStep(Strict):
    """One capture to take.

    out_vrms: what the output (of a loop-back: the generator) shows then, where it can be foretold.
    record_s: seconds to record, at least; None where the stimulus has a length of its own.
    """

    file: Name
    stimulus: Annotated[Any, BeforeValidator(by_marker)]
    conditions: Conditions = Conditions()
    tracks: dict[str, TrackRole] | None = None
    loop_back: bool = False
    out_vrms: Volts | None = None
    power_w: Watts | None = None
    record_s: Seconds | None = None
    why: Name

    @property
    def stem(self) -> str:
        """The file's name without its ending: a recorder may use another format."""
        return Path(self.file).stem

    @property
    def played(self) -> Stimulus | None:
        """The stimulus, or None where nothing is played."""
        return None if isinstance(self.stimulus, Idle) else self.stimulus


class Plan(Strict):
    """The captures of a session in the order to take them. notes: what was left out and why.

    full_scale_v: volts (peak) of the generator at digital full scale, where it plays files.
    rate_hz: sample rate of the recordings that it was made for. loads_ohm: the loads that were
    named for it, the nominal one first; none where it went by the manifest.
    """

    review: Key
    full_scale_v: Volts | None = None
    rate_hz: Annotated[float, Field(gt=0)] | None = None
    loads_ohm: list[Annotated[float, Field(gt=0)]] = []
    gain_db: float | None = None
    gain_from: Name | None = None
    notes: list[Note] = []
    step: list[PlannedStep] = []


def read_plan(folder: Path) -> Plan | None:
    """The plan beside a manifest; None where none was made. Raises UserError for faults."""
    path = folder / PLAN_NAME
    if not path.exists():
        return None
    return read_checked(Plan, read_bytes(path, "the plan"), str(path))


def plan_text(plan: Plan) -> str:
    """The plan as TOML."""
    head = "# The captures to take, in this order. Made by `backbench plan`; it may be edited."
    fields = plan.model_dump(exclude={"step"})
    steps = [_step_text(step) for step in plan.step]
    return "\n\n".join([f"{head}\n{lines_of(fields)}", *steps]) + "\n"


def _step_text(step: PlannedStep) -> str:
    return block(["step"], table_of(step_table(step)), repeated=True)


def step_table(step: PlannedStep) -> dict[str, object]:
    """A step as a plan and the layout of a run hold it."""
    return {
        "why": step.why, **capture_table(step), "out_vrms": step.out_vrms, "power_w": step.power_w,
        "record_s": step.record_s,
    }  # fmt: skip


def capture_table(step: PlannedStep) -> dict[str, object]:
    """What a `[[capture]]` of the manifest says of a step."""
    roles = {n: r.model_dump(exclude_none=True) for n, r in (step.tracks or {}).items()}
    return {
        "file": step.file,
        "stimulus": step.stimulus.model_dump(exclude_none=True),
        "conditions": step.conditions.model_dump(exclude_none=True, exclude_unset=True),
        "loop_back": step.loop_back or None,
        "tracks": roles,
    }


def stimulus_toml(step: PlannedStep) -> str:
    """The stimulus of a step as a value of TOML."""
    return item_of(step.stimulus.model_dump(exclude_none=True)).as_string()


def capture_text(table: dict[str, Any]) -> str:
    """A `[[capture]]` as it stands in a manifest."""
    return block(["capture"], table_of(table), repeated=True)
