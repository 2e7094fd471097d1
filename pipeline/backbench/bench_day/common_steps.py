"""Captures that several kinds of unit have in common."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from backbench.bench_day.bench_limits import MANY_CREST, crest, top_hz
from backbench.bench_day.planned_capture import PlannedStep
from backbench.bench_day.planning_session import PlanningSession
from backbench.documents.clear_frequencies import CLEAR_PAIRS_HZ, clear_hz
from backbench.documents.stimuli import (
    Level,
    Multitone,
    SquareAndSine,
    SquareWave,
    Stimulus,
    Sweep,
    Tone,
    TwoTones,
)
from backbench.quantities.writing import in_text

SWEPT_HZ = (10.0, 40_000.0)
SWEPT_S = 2.0
MANY_HZ = tuple(
    float(hz) for hz in (
        23, 32, 43, 67, 83, 113, 157, 211, 273, 367, 471, 643, 863, 1129, 1511, 2013, 2677, 3577,
        4769, 6371, 8477, 11317, 15083, 19813,
    )
)  # fmt: skip
"""About two tones an octave, clear of the multiples of 50 and 60 Hz, none the harmonic of another
by design."""
PAIRS = {
    "two-tones-19k-20k": ((19_000.0, 20_000.0), 1.0, "difference-frequency distortion"),
    "two-tones-60-7k": (
        (60.0, 7_000.0), 4.0, "modulation distortion; stands for 60 Hz and 7 kHz",
    ),
}  # fmt: skip
"""Round pair, ratio, and what it is for, by name."""
TURNED_DOWN, HALF_DOWN = "min", "half"
HALF_DOWN_V = 2.0
"""What an input range is chosen for, rms: what the control leaves can't be foretold."""
EDGES_HZ = (3160.0, 15_005.0)
"""For 3.15 kHz and 15 kHz: all nine products are 5 Hz or more from multiples of 50 and 60 Hz."""
EDGES_LOW_PASS_HZ = 30_000.0

PlannedSteps = Iterator[PlannedStep | str]


def idles(session: PlanningSession, load: float | str) -> PlannedSteps:
    """Nothing played; where the volume's setting is stated, with the control turned down too."""
    idle = session.idle(load)
    yield idle
    if session.manifest.conditions.volume is None:
        return
    conditions = idle.conditions.model_copy(update={"volume": TURNED_DOWN})
    yield idle.model_copy(update={
        "file": "idle-volume-down.wav", "conditions": conditions,
        "why": "hum and noise that arise behind the volume control",
    })  # fmt: skip


def tracking(session: PlanningSession, level: Level, load: float | str) -> PlannedSteps:
    """The same generator level with the volume turned half down: how the channels track."""
    if session.manifest.conditions.volume is None or len(session.outputs) < 2:
        return
    step = session.set_to("tone-1k-volume-half.wav", tone(1000.0)(level), load,
                          "tracking of the volume control: the same level, turned half down",
                          volts=HALF_DOWN_V)  # fmt: skip
    conditions = step.conditions.model_copy(update={"volume": HALF_DOWN})
    yield step.model_copy(update={"conditions": conditions})


def tone(round_hz: float) -> Callable[[Level], Stimulus]:
    """A tone of a level at the frequency that is played for a round one."""
    return lambda level: Tone(tone_hz=clear_hz(round_hz), generator_vrms=level)


def sweep(session: PlanningSession, volts: float, load: float | str) -> PlannedSteps:
    """Response; what was played is a track of its own, or the file."""
    if played_file(session, "") is None:
        return
    ends = swept_hz(session)
    text = f"{in_text(ends[0], 'Hz')} to {in_text(ends[1], 'Hz')}"
    yield session.at("sweep.wav", volts, load, swept(session, "played-sweep.wav"),
                     f"response, {text}")  # fmt: skip


def swept(session: PlanningSession, file: str) -> Callable[[Level], Stimulus]:
    """A sweep of a level over what the rate holds. file: the reference of what was played."""
    played = played_file(session, file) or {}
    ends = list(swept_hz(session))
    return lambda level: Sweep(sweep_hz=ends, sweep_s=SWEPT_S, generator_vrms=level, **played)


def swept_hz(session: PlanningSession) -> tuple[float, float]:
    """Ends of a sweep, Hz: as wide as the rate holds."""
    return SWEPT_HZ[0], min(SWEPT_HZ[1], math.floor(0.45 * session.rate_hz / 100) * 100.0)


def played_file(session: PlanningSession, file: str) -> dict[str, str] | None:
    """Where what a sweep played is recorded: a track (nothing to name), or the file; or nowhere."""
    if session.recorded:
        return {}
    if session.chain.generator is None:
        return None
    held = session.chain.generator.range
    return {"reference_file": file, **({"reference_range": held} if held else {})}


def separation(session: PlanningSession, volts: float, load: float | str) -> PlannedSteps:
    """One output driven, the other one's input terminated."""
    for output, file in one_by_one(session):
        yield session.at(file, volts, load, tone(1000.0), drive_only(output), driven=output)


def one_by_one(session: PlanningSession) -> Iterator[tuple[str, str]]:
    """Outputs to drive alone, and the file of each; none of mono units, which share nothing."""
    if not session.is_pair and len(session.outputs) > 1:
        for output in session.outputs:
            yield output, f"only-{output.replace(' ', '-')}-1k.wav"


def drive_only(output: str) -> str:
    """What the capture of an output driven alone is for."""
    return f"separation: drive {output} only, terminate the others"


def several(session: PlanningSession, volts: float, load: float | str) -> PlannedSteps:
    """Modulation and many tones, at peaks no greater than those of the tone of these volts."""
    peak = volts * math.sqrt(2)
    for name, (pair, ratio, why) in PAIRS.items():
        make = two_tones(pair, ratio)
        yield session.at(f"{name}.wav", peak / crest(make("unknown")), load, make, why)
    yield session.at("square-and-sine.wav", peak / crest(_edges("unknown")), load, _edges,
                     "dynamic intermodulation; stands for 3.15 kHz and 15 kHz")  # fmt: skip
    yield session.at("multitone.wav", peak / MANY_CREST, load, many(session),
                     "distortion and noise under many tones")  # fmt: skip


def _edges(level: Level) -> Stimulus:
    return SquareAndSine(
        square_and_sine_hz=list(EDGES_HZ), low_pass_hz=EDGES_LOW_PASS_HZ, generator_vrms=level
    )


def two_tones(pair: tuple[float, float], ratio: float) -> Callable[[Level], Stimulus]:
    """A pair of a level at the frequencies that are played for the round ones."""
    played = list(CLEAR_PAIRS_HZ.get(pair, pair))
    return lambda level: TwoTones(tones_hz=played, ratio=ratio, generator_vrms=level)


def many(session: PlanningSession) -> Callable[[Level], Stimulus]:
    """Many tones of a level, as far as the rate holds them."""
    tones = [hz for hz in MANY_HZ if hz <= min(top_hz(session.rate_hz), 0.45 * session.rate_hz)]
    return lambda level: Multitone(multitone_hz=tones, generator_vrms=level)


def squares(session: PlanningSession, volts: float, load: float | str) -> PlannedSteps:
    """Square waves stress an amplifier at high frequencies: low level, short, after all else."""

    def square(level: Level) -> Stimulus:
        doubled = level if level == "unknown" else 2 * level
        return SquareWave(square_hz=clear_hz(1000.0), generator_vpp=doubled)

    yield session.at("square-1k.wav", volts, load, square,
                     "rise time, overshoot, tilt; keep it short")  # fmt: skip


def between_outputs(session: PlanningSession, text: str) -> str:
    """What a capture is for, and the balance where there are channels to compare."""
    return f"{text}, balance" if len(session.outputs) > 1 else text
