"""Which captures to take of a unit, in the order that treats it best.

Warm-up and residual noise first, then low power, then rising power; square wave and greatest
power last (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from backbench.bench_day.capture_battery import BATTERIES, LEAST_RATE_HZ, loop_back
from backbench.bench_day.measuring_chain import Chain
from backbench.bench_day.planned_capture import Plan, PlannedStep
from backbench.bench_day.planning_session import PlanningSession
from backbench.documents.kinds import UNIT_KINDS
from backbench.documents.manifest import MANIFEST_NAME, Manifest
from backbench.errors import Fault, UserError
from backbench.quantities.counts import counted


@dataclass(frozen=True)
class Wishes:
    """What the reviewer asked for. loads: ohm, the nominal one first; none: as the manifest."""

    loads: tuple[float, ...] = ()
    with_loop_back: bool = False
    gain_db: float | None = None
    gain_from: str | None = None


def make_plan(manifest: Manifest, chain: Chain, wishes: Wishes) -> Plan:
    """The plan for a review's units. Raises UserError where a fact is missing that it needs."""
    session = session_of(manifest, chain, wishes)
    steps: list[PlannedStep] = []
    notes = list(_notes(session))
    if wishes.with_loop_back:
        steps += loop_back(session)
    for item in BATTERIES[session.battery](session):
        if isinstance(item, PlannedStep):
            steps.append(item)
        else:
            notes.append(item)
    return Plan(
        review=manifest.review.key,
        full_scale_v=chain.generator.volts.get(1) if chain.generator else None,
        gain_db=wishes.gain_db, gain_from=wishes.gain_from,
        notes=notes, step=_once(steps),
    )  # fmt: skip


def with_recorded(made: Plan, earlier: Plan | None, done: Collection[str]) -> Plan:
    """A plan made again, in which the steps that are recorded stay as they were played.

    done: stems of the files that are there. Steps of the earlier plan that are recorded stand in
    the new one too, where it would no longer have them.
    """
    played = {step.stem: step for step in (earlier.step if earlier else []) if step.stem in done}
    steps = [played.pop(step.stem, step) for step in made.step]
    return made.model_copy(update={"step": [*played.values(), *steps]})


def session_of(manifest: Manifest, chain: Chain, wishes: Wishes) -> PlanningSession:
    """What the battery is drawn up from. Raises UserError with everything that is missing."""
    first = manifest.unit[0]
    kind = UNIT_KINDS[first.kind]
    faults: list[Fault] = []
    if kind.battery is None:
        usual = ", ".join(name for name, other in UNIT_KINDS.items() if other.battery)
        faults.append(Fault(
            f"{MANIFEST_NAME}, unit {first.key!r}, kind", repr(first.kind),
            f"one of {usual}",
            "there is no usual battery for other kinds: write the captures by hand"))  # fmt: skip
    if not manifest.tracks:
        faults.append(Fault(f"{MANIFEST_NAME}, tracks", "none", "which track carries what"))
    rated = min((u.rated_power_w for u in manifest.unit if u.rated_power_w), default=None)
    loads = wishes.loads or tuple(filter(None, [manifest.conditions.load_resistance]))
    if kind.by_power and rated is None:
        faults.append(Fault(f"{MANIFEST_NAME}, unit {first.key!r}", "no rated_power_w",
                            "the power to plan up to, in W"))  # fmt: skip
    if kind.by_power and not loads:
        faults.append(Fault(f"{MANIFEST_NAME}, conditions", "no load_ohm",
                            "the nominal load in ohm", "or name one with --load"))  # fmt: skip
    if faults or kind.battery is None:
        raise UserError(f"no plan can be made: {counted(len(faults), 'fault')}", faults)
    return PlanningSession(manifest, chain, rated or 0.0, loads, kind.battery)


def _notes(session: PlanningSession) -> Iterator[str]:
    if session.chain.gain is None:
        yield (
            "the gain isn't known: raise the generator from nothing until the output shows the "
            "volts of the first tone, note the generator's volts, and plan again with --gain-db"
        )
    if session.chain.generator is None and not session.recorded:
        yield (
            "no generator track, and the bench has no generator_range: sweeps are left out, for "
            "want of a record of what was played"
        )
    if not session.recorded:
        yield (
            "no track records the generator: the phase isn't known, so that output impedance and "
            "damping factor can only be given as bounds"
        )
    yield (
        f"record at {LEAST_RATE_HZ} Hz or more, square waves at 192000 Hz; take those of 10 kHz "
        "with an oscilloscope, as tables: no audio converter records their edges"
    )


def _once(steps: list[PlannedStep]) -> list[PlannedStep]:
    """The first of steps that would go to one file."""
    return list({step.file: step for step in reversed(steps)}.values())[::-1]
