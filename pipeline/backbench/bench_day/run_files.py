"""Steps that can be played one after the other without touching the bench, and their layout."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

from pydantic import Field

from backbench.bench_day.capture_names import number_in_name
from backbench.bench_day.cautions import UNATTENDED
from backbench.bench_day.planned_capture import PlannedStep, read_plan, step_table
from backbench.documents.strict_model import Strict
from backbench.documents.toml_writing import block, lines_of, table_of
from backbench.documents.unit_facts import Key, Name
from backbench.documents.validation import read_bytes, read_checked
from backbench.errors import UserError
from backbench.ingest.capture_files import found_file

GAP_S = 0.25
Moment = Annotated[float, Field(ge=0)]


class Segment(Strict):
    """A stimulus in a run: its marker, and the part that its capture keeps, seconds.

    step: what was planned when the run was written, so what is played; None in older layouts.
    """

    file: Name
    marker_s: Moment
    from_s: Moment
    to_s: Moment
    step: PlannedStep | None = None


class Run(Strict):
    """The layout of a long file."""

    name: Key
    end_marker_s: Moment
    segment: Annotated[list[Segment], Field(min_length=1)]

    @property
    def markers(self) -> list[float]:
        """Times of all markers, the closing one included."""
        return [*(one.marker_s for one in self.segment), self.end_marker_s]


def runs_of(steps: Sequence[PlannedStep]) -> dict[str, list[PlannedStep]]:
    """Steps by setting of the bench (load, range, driven output, loop-back), in order."""
    by_setting: dict[str, list[PlannedStep]] = {}
    for step in steps:
        by_setting.setdefault(_setting(step), []).append(step)
    return by_setting


def _setting(step: PlannedStep) -> str:
    conditions = step.conditions
    load = conditions.load_ohm if isinstance(conditions.load_ohm, str) else (
        f"{number_in_name(conditions.load_ohm)}ohm" if conditions.load_ohm else None)  # fmt: skip
    parts = [
        "loop-back" if step.loop_back else None, load, conditions.range,
        f"only-{conditions.driven}" if conditions.driven else None,
    ]  # fmt: skip
    setting = "-".join(part for part in parts if part) or "all"
    return "run-" + "".join(c if c.isalnum() or c in ".-" else "" for c in setting.lower())


def run_text(run: Run) -> str:
    """The layout as TOML, under the caution that belongs to playing it."""
    caution = [f"# {line}" for line in textwrap.wrap(UNATTENDED, 96)]
    head = "\n".join(["# Where each stimulus lies in the run; `backbench cut` reads it.", *caution])
    fields = lines_of({"name": run.name, "end_marker_s": run.end_marker_s})
    segments = [
        block(["segment"], table_of(_segment_table(one)), repeated=True) for one in run.segment
    ]
    return "\n\n".join([f"{head}\n{fields}", *segments]) + "\n"


def _segment_table(one: Segment) -> dict[str, object]:
    step = {} if one.step is None else step_table(one.step)
    return {
        "file": one.file, "marker_s": one.marker_s, "from_s": one.from_s, "to_s": one.to_s,
        "step": {key: value for key, value in step.items() if value not in (None, {}, [])},
    }  # fmt: skip


def read_run(path: Path) -> Run:
    """A layout from its file. Raises UserError."""
    return read_checked(Run, read_bytes(path, "the layout"), str(path))


def next_run(folder: Path, review: Path) -> Path | None:
    """The layout of the first run, in the order of the plan, that has captures which the review
    lacks; None if none has. Other TOML files of the folder are passed over.
    """
    plan = read_plan(review)
    place = {step.stem: n for n, step in enumerate(plan.step if plan else [])}
    left: list[tuple[int, Path]] = []
    for path in folder.glob("*.toml"):
        try:
            files = [one.file for one in read_run(path).segment]
        except UserError:
            continue
        if any(found_file(review, file) is None for file in files):
            left.append((place.get(Path(files[0]).stem, len(place)), path))
    return min(left)[1] if left else None
