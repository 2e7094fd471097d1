"""Which captures a session gets, by the kind of its units."""

from __future__ import annotations

from collections.abc import Callable

from backbench.bench_day.amplifier_steps import amplifier
from backbench.bench_day.common_steps import PlannedSteps
from backbench.bench_day.line_steps import headphone_stage, line_stage, phono_stage
from backbench.bench_day.medium_steps import transport
from backbench.bench_day.planning_session import PlanningSession
from backbench.bench_day.source_steps import played_source, tuner
from backbench.documents.kinds import Battery

BATTERIES: dict[Battery, Callable[[PlanningSession], PlannedSteps]] = {
    "amplifier": amplifier,
    "headphone stage": headphone_stage,
    "line stage": line_stage,
    "phono stage": phono_stage,
    "played source": played_source,
    "transport": transport,
    "tuner": tuner,
}
"""The usual captures, by what the declaration of a kind of unit names."""
