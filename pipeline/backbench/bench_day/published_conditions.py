"""Captures that only a published figure asks for."""

from __future__ import annotations

from collections.abc import Iterator

from backbench.bench_day.capture_names import tone_file
from backbench.bench_day.planned_capture import PlannedStep
from backbench.bench_day.planning_session import PlanningSession
from backbench.documents.clear_frequencies import WITHIN, clear_hz
from backbench.documents.stimuli import Level, Stimulus, Tone
from backbench.documents.unit_facts import PublishedFigure


def promised(session: PlanningSession) -> Iterator[PlannedStep]:
    """A tone at each frequency, power and load that a maker promised something for."""
    for unit in session.manifest.unit:
        for figure in unit.published:
            at = figure.at
            if at.frequency_hz is None or at.power_w is None:
                continue
            load = at.load_ohm or session.loads[0]
            yield _promised(session, figure, at.frequency_hz, at.power_w, load)


def _promised(
    session: PlanningSession, figure: PublishedFigure, hz: float, power_w: float, load: float
) -> PlannedStep:
    def tone(level: Level) -> Stimulus:
        return Tone(tone_hz=_played(hz), generator_vrms=level)

    limit = figure.at_most or figure.at_least
    why = f"published: {figure.metric} {limit} at this power ({figure.printed_in})"
    return session.powered(tone_file(hz, power_w, load), power_w, load, tone, why[:200])


def _played(hz: float) -> float:
    """The frequency clear of the mains where a verdict takes it as the promised one."""
    clear = clear_hz(hz)
    return clear if abs(clear / hz - 1) <= WITHIN else hz
