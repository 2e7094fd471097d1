"""A second session of a unit: which captures teach most of the spread between sessions.

The spread of each metric is known by its degrees of freedom: those of the assumed default, and one
for every further session of a unit without work in between. One session more takes the relative
uncertainty of a spread from 1 / sqrt(2 n) to 1 / sqrt(2 (n + 1)) (JCGM 100:2008, E.4.3). What that
is worth is weighed by the share that the session has in the uncertainty of this unit's figure.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from backbench.bench_day.planned_capture import Plan, PlannedStep
from backbench.comparison.compared_points import compared_points
from backbench.documents.manifest import Manifest
from backbench.errors import Fault, UserError
from backbench.quantities.sentences import first_few, lowered
from backbench.storage.database import Database

MOST_STEPS = 6
POWER_WITHIN = 0.25
FREQUENCY_WITHIN = 0.05
NOTE = (
    "a second session: on another day, with everything unplugged and set anew in between, and "
    "without work on the unit; name the same unit and state in review.toml"
)
FIGURES = """
SELECT DISTINCT at_point.metric, metric.title, at_point.stimulus, at_point.frequency_hz,
       at_point.power_w, at_point.load_ohm, session_u, own_u, session_spread.dof,
       session_spread.is_default, at_point.unit_key
FROM at_point
JOIN metric USING (metric)
JOIN session_spread USING (metric)
JOIN unit_period USING (review_key, unit_key)
WHERE list_contains($units, at_point.unit_key) AND unit_period.standing
  AND list_contains($metrics, at_point.metric) AND list_contains($points, at_point.point_key)
  AND status = 'measured' AND bound IS NULL AND session_u > 0 AND at_point.review_key <> $review
ORDER BY ALL
"""


def repeat_plan(store: Database, manifest: Manifest, made: Plan) -> Plan:
    """Of a plan the captures that teach most of another session, the most first, and their
    loop-backs. Raises UserError for a unit that has no earlier session in this state."""
    _refuse_other_states(store, manifest)
    points = compared_points()
    figures = store.frame(FIGURES, {
        "units": [unit.key for unit in manifest.unit], "review": manifest.review.key,
        "metrics": [*points], "points": sorted({p for own in points.values() for p in own}),
    }).to_dicts()  # fmt: skip
    if not figures:
        fault = Fault(manifest.review.key, "no measured figure of an earlier session",
                      "a unit measured before in the same state")  # fmt: skip
        raise UserError("there is nothing to repeat", [fault])
    steps = _worth_most(made.step, figures)
    played = {_played(step) for step in steps}
    alone = [step for step in made.step if step.loop_back and _played(step) in played]
    return made.model_copy(update={"step": [*alone, *steps], "notes": [NOTE, *made.notes]})


def _refuse_other_states(store: Database, manifest: Manifest) -> None:
    """Work between two sessions is what a repeat must not have."""
    rows = store.rows("SELECT unit_key, state FROM unit")
    known = {str(key): str(state) for key, state in rows}
    faults = []
    for unit in manifest.unit:
        if unit.key not in known:
            faults.append(Fault(unit.key, "not in the catalogue", "a unit measured before"))
        elif unit.state != known[unit.key]:
            faults.append(Fault(
                f"{unit.key}, state", unit.state, f"{known[unit.key]}, as it was measured",
                "after work `backbench before-after` compares the two",
            ))  # fmt: skip
    if faults:
        raise UserError("this is no repeat", faults)


def _worth_most(
    steps: Iterable[PlannedStep], figures: Sequence[Mapping[str, Any]]
) -> list[PlannedStep]:
    """The steps that teach most, each metric counted at the first that gives it."""
    left = [(step, _given(step, figures)) for step in steps if not step.loop_back]
    chosen: list[PlannedStep] = []
    counted: set[str] = set()
    while left and len(chosen) < MOST_STEPS:
        best = max(left, key=lambda pair: _worth(pair[1], counted))
        if _worth(best[1], counted) == 0:
            break
        left.remove(best)
        chosen.append(best[0].model_copy(update={"why": _why(best[1], counted)}))
        counted |= {row["metric"] for row in best[1]}
    return chosen


def _played(step: PlannedStep) -> tuple[str, float | None]:
    """What a step and its loop-back have in common."""
    return step.stimulus.kind, getattr(step.stimulus, "tone_hz", None)


def _given(step: PlannedStep, figures: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """The figures of the earlier session that were taken as this step is."""
    return [row for row in figures if _alike(step, row)]


def _alike(step: PlannedStep, row: Mapping[str, Any]) -> bool:
    stimulus = step.stimulus
    hertz = getattr(stimulus, "tone_hz", None)
    return (
        row["stimulus"] == stimulus.kind
        and _near(step.power_w, row["power_w"], POWER_WITHIN)
        and _near(hertz, row["frequency_hz"], FREQUENCY_WITHIN)
        and _near(step.conditions.load_resistance, row["load_ohm"], FREQUENCY_WITHIN)
    )


def _near(planned: float | None, taken: float | None, within: float) -> bool:
    """Whether two values agree where both are known."""
    return not planned or not taken or abs(math.log(planned / taken)) <= math.log1p(within)


def _worth(rows: Iterable[Mapping[str, Any]], counted: Collection[str]) -> float:
    """What a second session teaches of the metrics that nothing chosen gives."""
    worth: dict[str, float] = {}
    for row in rows:
        if row["metric"] not in counted:
            share = (row["session_u"] / row["own_u"]) ** 2
            gain = 1 / math.sqrt(2 * row["dof"]) - 1 / math.sqrt(2 * (row["dof"] + 1))
            worth[row["metric"]] = max(worth.get(row["metric"], 0.0), share * gain)
    return sum(worth.values())


def _why(rows: Iterable[Mapping[str, Any]], counted: Collection[str]) -> str:
    new = [row for row in rows if row["metric"] not in counted]
    titles = list(dict.fromkeys(lowered(row["title"]) for row in new))
    known = "only a default is known" if all(row["is_default"] for row in new) else "little known"
    return f"teaches the spread of {first_few(titles, 2)} between sessions: {known}"
