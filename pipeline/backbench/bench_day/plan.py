"""Which captures to take of a unit, in the order that treats it best.

Warm-up and residual noise first, then low power, then rising power; square wave and greatest
power last (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from backbench.bench_day.bench_limits import SQUARE_RATE_HZ, beyond
from backbench.bench_day.capture_battery import BATTERIES
from backbench.bench_day.loop_back_steps import loop_backs
from backbench.bench_day.measuring_chain import Chain
from backbench.bench_day.narrowing_steps import narrowing
from backbench.bench_day.planned_capture import Plan, PlannedStep
from backbench.bench_day.planning_session import PlanningSession
from backbench.documents.file_names import MANIFEST_NAME
from backbench.documents.kinds import BRING_THEIR_SIGNAL, unit_kinds
from backbench.documents.manifest import Manifest
from backbench.errors import MISSING, Fault, UserError
from backbench.metrics.limit_brackets import LimitBracket
from backbench.quantities.counts import counted
from backbench.quantities.writing import in_text

USUAL_RATE_HZ = 96_000.0
CLEAR = (
    "frequencies are clear of 50 and 60 Hz mains and stand for the round ones: 997 Hz for 1 kHz, "
    "23 Hz for 20 Hz, 66 Hz and 7.05 kHz for 60 Hz and 7 kHz; what a transformer adds below is a "
    "little less at 23 than at 20 Hz, and a strict figure of the practice names the round ones"
)


@dataclass(frozen=True)
class Wishes:
    """What the reviewer asked for. loads: ohm, the nominal one first; none: as the manifest.

    rate_hz: sample rate of the recordings. brackets: of the powers at limits, as far as this
    review was measured.
    """

    loads: tuple[float, ...] = ()
    rate_hz: float = USUAL_RATE_HZ
    gain_db: float | None = None
    gain_from: str | None = None
    brackets: tuple[LimitBracket, ...] = ()


def make_plan(manifest: Manifest, chain: Chain, wishes: Wishes) -> Plan:
    """The plan for a review's units. Raises UserError where a fact is missing that it needs."""
    session = session_of(manifest, chain, wishes)
    items = list(BATTERIES[session.battery](session))
    if session.battery == "amplifier":
        items += narrowing(session, wishes.brackets)
    steps = _once([item for item in items if isinstance(item, PlannedStep)])
    possible, notes = _possible(steps, session)
    alone = list(loop_backs(session, possible))
    steps = [*(item for item in alone if isinstance(item, PlannedStep)), *possible]
    remarks = [item for item in [*items, *alone] if isinstance(item, str)]
    return Plan(
        review=manifest.review.key, full_scale_v=chain.full_scale_v, rate_hz=wishes.rate_hz,
        loads_ohm=list(wishes.loads), gain_db=wishes.gain_db, gain_from=wishes.gain_from,
        notes=[*_notes(session), *remarks, *notes], step=_once(steps),
    )  # fmt: skip


def _possible(
    steps: list[PlannedStep], session: PlanningSession
) -> tuple[list[PlannedStep], list[str]]:
    """The captures that this bench can give, and a note for each reason to leave others out."""
    left_out: dict[str, list[str]] = {}
    possible = []
    for step in steps:
        reason = beyond(step, session.chain, session.rate_hz)
        if reason is None:
            possible.append(step)
        else:
            left_out.setdefault(reason, []).append(step.file)
    return possible, [f"left out: {', '.join(files)}: {why}" for why, files in left_out.items()]


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
    kind = unit_kinds()[first.kind]
    battery = kind.battery_for(manifest.conditions.input, manifest.conditions.tap)
    faults: list[Fault] = []
    if battery is None:
        usual = ", ".join(name for name, other in unit_kinds().items() if other.battery)
        faults.append(Fault(
            f"{MANIFEST_NAME}, unit {first.key!r}, kind", repr(first.kind),
            f"one of {usual}",
            "there is no usual battery for other kinds: write the captures by hand"))  # fmt: skip
    if not manifest.tracks:
        faults.append(Fault(f"{MANIFEST_NAME}, tracks", "none", "which track carries what"))
    rated = min((u.rated_power_w for u in manifest.unit if u.rated_power_w), default=None)
    loads = wishes.loads or tuple(filter(None, [manifest.conditions.load_resistance]))
    by_power = kind.planned_by_power(manifest.conditions.input, manifest.conditions.tap)
    if by_power and rated is None:
        faults.append(Fault(f"{MANIFEST_NAME}, unit {first.key!r}", "no rated_power_w",
                            "the power to plan up to, in W"))  # fmt: skip
    if by_power and not loads:
        faults.append(Fault(f"{MANIFEST_NAME}, conditions", "no load_ohm",
                            "the nominal load in ohm", "or name one with --load"))  # fmt: skip
    named = manifest.conditions.input
    if battery == "phono stage" and "phono" not in (named or "").lower():
        found = repr(named) if named else MISSING
        faults.append(Fault(f"{MANIFEST_NAME}, conditions, input", found,
                            '"phono mm" or "phono mc", for 5 mV or 0.5 mV at it'))  # fmt: skip
    if faults or battery is None:
        raise UserError(f"no plan can be made: {counted(len(faults), 'fault')}", faults)
    return PlanningSession(manifest, chain, rated or 0.0, loads, battery, wishes.rate_hz)


def nominal_load(manifest: Manifest, loads: Collection[float]) -> float | str | None:
    """The load that the plan's levels are for: ohm, or "open" for a line output of none named."""
    named = next(iter(loads), manifest.conditions.load_ohm)
    kind = unit_kinds()[manifest.unit[0].kind]
    by_power = kind.planned_by_power(manifest.conditions.input, manifest.conditions.tap)
    return "open" if named is None and not by_power else named


def _notes(session: PlanningSession) -> Iterator[str]:
    if session.battery in BRING_THEIR_SIGNAL:
        yield "frequencies are clear of the mains: 997 Hz stands for 1 kHz"
    else:
        yield from _generator_notes(session)
    rate = in_text(session.rate_hz, "Hz", 6)
    yield f"record at {rate}, and each capture for as long as stated or longer"
    if session.battery == "amplifier" and session.rate_hz >= SQUARE_RATE_HZ:
        yield (
            "take square waves of 10 kHz with an oscilloscope, as tables: no audio converter "
            "records their edges"
        )


def _generator_notes(session: PlanningSession) -> Iterator[str]:
    """What is to be known where the generator drives the unit."""
    if session.chain.gain is None:
        yield (
            "the gain isn't known: raise the generator from nothing until the output shows the "
            "volts of the first tone, note the generator's volts, and plan again with --gain-db"
        )
    yield CLEAR
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


def _once(steps: list[PlannedStep]) -> list[PlannedStep]:
    """The first of steps that would go to one file."""
    return list({step.file: step for step in reversed(steps)}.values())[::-1]
