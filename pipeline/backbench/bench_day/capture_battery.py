"""The captures of a session, kind of unit by kind of unit."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from backbench.bench_day.capture_names import number_in_name, tone_file
from backbench.bench_day.planned_capture import PlannedStep
from backbench.bench_day.planning_session import PlanningSession
from backbench.bench_day.published_conditions import promised
from backbench.documents.kinds import Battery
from backbench.documents.stimuli import (
    Idle,
    Level,
    Multitone,
    SquareWave,
    Stimulus,
    Sweep,
    Tone,
    TwoTones,
)

LEAST_RATE_HZ = 96_000
SHARES = (0.1, 0.25, 0.5, 0.75, 1.0, 1.15, 1.3, 1.5)
"""Of the rated power, rising; past it, so that the limit of distortion is crossed."""
LINE_VOLTS = (0.2, 0.5, 1.0, 2.0, 4.0, 7.0, 10.0)
SWEPT_HZ = [10.0, 40_000.0]
SWEPT_S = 2.0
TWENTIETHS = tuple(
    float(hz) for hz in (
        20, 30, 40, 60, 80, 110, 150, 200, 270, 360, 480, 640, 850, 1130, 1510, 2010, 2680, 3580,
        4770, 6360, 8480, 11310, 15080, 19810,
    )
)  # fmt: skip
"""About two tones an octave, none the harmonic of another by design but for the lowest."""

APART = 1.1
"""Loads whose ratio is smaller tell no output impedance."""

PlannedSteps = Iterator[PlannedStep | str]


def tone(hz: float) -> Callable[[Level], Stimulus]:
    return lambda level: Tone(tone_hz=hz, generator_vrms=level)


def amplifier(session: PlanningSession) -> PlannedSteps:
    """Low power first, then across loads, then rising power; the hardest last."""
    load, low = session.loads[0], _low(session)
    yield session.idle(load)
    yield session.powered(tone_file(1000, low, load), low, load, tone(1000),
                          "gain, distortion and balance at low power")  # fmt: skip
    yield from _across_loads(session, low)
    for hz in (20.0, 20_000.0):
        yield session.powered(tone_file(hz, low, load), low, load, tone(hz),
                              "distortion and level at the end of the band")  # fmt: skip
    yield from _sweep(session, math.sqrt(low * load), load)
    yield from _separation(session, math.sqrt(low * load), load)
    middle = min(5.0, session.rated_w / 2)
    yield from _several(session, math.sqrt(middle * load), load)
    hard = [*_rising(session, load, middle), *promised(session)]
    hard = sorted((s for s in hard if (s.power_w or 0) > low), key=_volts)
    half = math.sqrt(0.5 * session.rated_w * load)
    yield from (step for step in hard if _volts(step) <= half)
    yield from _squares(session, math.sqrt(low * load), load)
    yield from (step for step in hard if _volts(step) > half)
    if not all(session.chain.holds(1.5 * (step.out_vrms or 0)) for step in hard):
        yield "no input range holds the greatest output: put an attenuator of known ratio before it"


def line_stage(session: PlanningSession) -> PlannedSteps:
    """A preamplifier: by output volts, into a bridging input unless a load is named."""
    load = "open" if not session.loads else session.loads[0]
    yield session.idle(load)
    yield session.at("tone-1k-1v.wav", 1.0, load, tone(1000), "gain and distortion at 1 V")
    yield session.at("tone-1k-2v.wav", 2.0, load, tone(1000), "the usual line level")
    other: float | str = 10_000.0 if load == "open" or float(load) > APART * 10_000 else "open"
    load_text = "open" if other == "open" else "10kohm"
    yield session.at(f"tone-1k-{load_text}.wav", 2.0, other, tone(1000),
                     "output impedance, from two loads")  # fmt: skip
    for hz, name in ((20.0, "20"), (20_000.0, "20k")):
        yield session.at(f"tone-{name}-2v.wav", 2.0, load, tone(hz), "the end of the band")
    yield from _sweep(session, 1.0, load)
    yield from _separation(session, 2.0, load)
    yield from _several(session, 2.0, load)
    yield from (
        session.at(f"tone-1k-{number_in_name(volts)}v.wav", volts, load, tone(1000),
                   "distortion against level")
        for volts in LINE_VOLTS if volts < 2
    )  # fmt: skip
    yield from _squares(session, 1.0, load)
    for volts in LINE_VOLTS:
        if volts > 2:
            yield session.at(f"tone-1k-{number_in_name(volts)}v.wav", volts, load, tone(1000),
                             "distortion against level, to the limit")  # fmt: skip


BATTERIES: dict[Battery, Callable[[PlanningSession], PlannedSteps]] = {
    "amplifier": amplifier,
    "line stage": line_stage,
}
"""The usual captures, by what the declaration of a kind of unit names."""


def loop_back(session: PlanningSession) -> list[PlannedStep]:
    """The bench alone: what it adds to every figure."""
    steps = [
        session.bench_alone("loop-back-idle.wav", Idle(idle="generator off"), 0.0,
                            "the bench's own noise"),
        session.bench_alone("loop-back-1k.wav", Tone(tone_hz=1000.0, generator_vrms=1.0), 1.0,
                            "the bench's own distortion; drift"),
    ]  # fmt: skip
    played = _played(session, "played-loop-back-sweep.wav")
    if played is not None:
        sweep = Sweep(sweep_hz=SWEPT_HZ, sweep_s=SWEPT_S, generator_vrms=1.0, **played)
        steps.append(session.bench_alone(
            "loop-back-sweep.wav", sweep, 1.0, "the bench's own response"))  # fmt: skip
    return steps


def _low(session: PlanningSession) -> float:
    """1 W, or a tenth of the rated power of a small amplifier."""
    return 1.0 if session.rated_w >= 4 else session.rated_w / 10


def _volts(step: PlannedStep) -> float:
    return step.out_vrms or 0.0


def _across_loads(session: PlanningSession, low: float) -> PlannedSteps:
    """The same level into other loads: output impedance and damping."""
    volts = math.sqrt(low * session.loads[0])
    others: list[float | str] = list(session.loads[1:])
    if not session.transformers:
        others.insert(0, "open")
    elif not others:
        yield ("output impedance is left out: name a second load with --load; an output "
               "transformer must not run open")  # fmt: skip
    for other in others:
        name = "open" if other == "open" else f"{number_in_name(float(other))}ohm"
        step = session.at(f"tone-1k-{name}.wav", volts, other, tone(1000),
                          "output impedance: the same level into another load")  # fmt: skip
        yield step.model_copy(update={"power_w": None, "out_vrms": None})


def _rising(session: PlanningSession, load: float, middle: float) -> Iterator[PlannedStep]:
    known = (_low(session), middle)
    powers = [session.rated_w * share for share in SHARES]
    apart = [power for power in powers if all(abs(power / one - 1) > 0.1 for one in known)]
    for power in sorted([middle, *apart]):
        why = _reason(power / session.rated_w)
        yield session.powered(tone_file(1000, power, load), power, load, tone(1000), why)


def _reason(share: float) -> str:
    if share > 1:
        return "greatest power at a limit"
    return "rated power" if share == 1 else "distortion against power"


def _sweep(session: PlanningSession, volts: float, load: float | str) -> PlannedSteps:
    """Response; what was played is a track of its own, or the file."""
    played = _played(session, "played-sweep.wav")
    if played is None:
        return

    def sweep(level: Level) -> Stimulus:
        return Sweep(sweep_hz=SWEPT_HZ, sweep_s=SWEPT_S, generator_vrms=level, **played)

    yield session.at("sweep.wav", volts, load, sweep, "response, 10 Hz to 40 kHz")


def _played(session: PlanningSession, file: str) -> dict[str, str] | None:
    """Where what a sweep played is recorded: a track (nothing to name), or the file; or nowhere."""
    if session.recorded:
        return {}
    if session.chain.generator is None:
        return None
    held = session.chain.generator.range
    return {"reference_file": file, **({"reference_range": held} if held else {})}


def _separation(session: PlanningSession, volts: float, load: float | str) -> PlannedSteps:
    """One output driven, the other one's input terminated. Mono amplifiers share nothing."""
    if session.is_pair or len(session.outputs) < 2:
        return
    for output in session.outputs:
        yield session.at(f"only-{output.replace(' ', '-')}-1k.wav", volts, load, tone(1000),
                         f"separation: drive {output} only, terminate the others",
                         driven=output)  # fmt: skip


def _several(session: PlanningSession, volts: float, load: float | str) -> PlannedSteps:
    """Modulation and many tones, at peaks no greater than those of the tone of these volts."""
    peak = volts * math.sqrt(2)
    for low, high, ratio, name, why in (
        (19_000.0, 20_000.0, 1.0, "two-tones-19k-20k", "difference-frequency distortion"),
        (60.0, 7_000.0, 4.0, "two-tones-60-7k", "modulation distortion"),
    ):
        crest = math.sqrt(2) * (1 + ratio) / math.hypot(1, ratio)

        def pair(level: Level, at: tuple[float, float, float] = (low, high, ratio)) -> Stimulus:
            return TwoTones(tones_hz=[at[0], at[1]], ratio=at[2], generator_vrms=level)

        yield session.at(f"{name}.wav", peak / crest, load, pair, why, crest=crest)

    def many(level: Level) -> Stimulus:
        return Multitone(multitone_hz=list(TWENTIETHS), generator_vrms=level)

    yield session.at("multitone.wav", peak / 3.5, load, many, "distortion and noise under many "
                     "tones", crest=3.5)  # fmt: skip


def _squares(session: PlanningSession, volts: float, load: float | str) -> PlannedSteps:
    """Square waves stress an amplifier at high frequencies: low level, short, after all else."""

    def square(level: Level) -> Stimulus:
        doubled = level if level == "unknown" else 2 * level
        return SquareWave(square_hz=1000.0, generator_vpp=doubled)

    yield session.at("square-1k.wav", volts, load, square,
                     "rise time, overshoot, tilt; keep it short", crest=1.3)  # fmt: skip
