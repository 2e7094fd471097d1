"""The captures of units that a generator drives at line level: line, phono, headphone stages."""

from __future__ import annotations

import numpy as np

from backbench.bench_day.capture_names import number_in_name
from backbench.bench_day.common_steps import (
    PlannedSteps,
    between_outputs,
    drive_only,
    idles,
    one_by_one,
    played_file,
    separation,
    several,
    squares,
    sweep,
    swept,
    tone,
    tracking,
)
from backbench.bench_day.planning_session import PlanningSession
from backbench.documents.clear_frequencies import clear_hz
from backbench.documents.stimuli import Level, ToneThroughResistor
from backbench.quantities.writing import in_text
from backbench.signal.riaa import riaa_db

LINE_VOLTS = (0.2, 0.5, 1.0, 2.0, 4.0, 7.0, 10.0)
HEADPHONE_VOLTS = (0.1, 0.2, 0.5, 1.0, 2.0, 3.0, 4.0)
"""2 V into 32 ohm are 125 mW; common practice, no source."""
BRIDGING_OHM = 10_000.0
MAGNET_V, COIL_V = 5e-3, 0.5e-3
"""What a moving magnet and a moving coil give at 1 kHz (common practice, no source)."""
THROUGH_OHM = 47_000.0
"""What phono inputs have and about what line inputs have (common practice, no source)."""
OVERLOADS = (2.0, 4.0, 8.0, 16.0, 24.0, 32.0)
"""Of the usual input volts, rising, until the stage is driven over."""
USUAL_V = 2.0
"""What an input range is chosen for where the output can't be foretold, rms (common practice, no
source)."""


def line_stage(session: PlanningSession) -> PlannedSteps:
    """A preamplifier: by output volts, into a bridging input unless a load is named."""
    return _by_volts(session, LINE_VOLTS)


def headphone_stage(session: PlanningSession) -> PlannedSteps:
    """A headphone output: by output volts, into the resistors named, the usual one first."""
    yield from _by_volts(session, HEADPHONE_VOLTS)
    if not session.loads:
        yield ("no load is named, so that the levels are of an open output: name resistors that "
               "stand for headphones, such as --load 32 --load 300")  # fmt: skip
    yield ("keep headphones off your ears while anything plays: these levels are far above those "
           "of listening and can harm hearing at once")  # fmt: skip


def _by_volts(session: PlanningSession, levels: tuple[float, ...]) -> PlannedSteps:
    load = line_load(session)
    yield from idles(session, load)
    yield session.at("tone-1k-1v.wav", 1.0, load, tone(1000.0),
                     between_outputs(session, "gain and distortion at 1 V"))  # fmt: skip
    yield session.at("tone-1k-2v.wav", 2.0, load, tone(1000.0), "the usual line level")
    yield from _across_loads(session, session.chain.level(2.0, load), load)
    yield from tracking(session, session.chain.level(2.0, load), load)
    yield from _through(session, session.chain.level(2.0, load), load)
    for hz, name in ((20.0, "20"), (20_000.0, "20k")):
        yield session.at(f"tone-{name}-2v.wav", 2.0, load, tone(hz), "the end of the band")
    yield from sweep(session, 1.0, load)
    yield from separation(session, 2.0, load)
    yield from several(session, 2.0, load)
    yield from (
        session.at(f"tone-1k-{number_in_name(volts)}v.wav", volts, load, tone(1000.0),
                   "distortion against level")
        for volts in levels if volts < USUAL_V
    )  # fmt: skip
    yield from squares(session, 1.0, load)
    for volts in levels:
        if volts > USUAL_V:
            yield session.at(f"tone-1k-{number_in_name(volts)}v.wav", volts, load, tone(1000.0),
                             "distortion against level, to the limit")  # fmt: skip


def phono_stage(session: PlanningSession) -> PlannedSteps:
    """A phono input: by input volts, along the replay curve, then up to its overload."""
    load, level = line_load(session), _cartridge_v(session)
    yield session.idle(load, "input terminated as by a cartridge")
    yield session.played_at("tone-1k.wav", level, load, tone(1000.0),
                            between_outputs(session, "gain and distortion"))  # fmt: skip
    yield from _across_loads(session, level, load)
    yield from _through(session, level, load)
    for hz, name in ((20.0, "20"), (20_000.0, "20k")):
        curve = _curve(clear_hz(hz))
        yield session.played_at(f"tone-{name}.wav", level / curve, load, tone(hz),
                                "the end of the band, at the output of 1 kHz",
                                curve=curve)  # fmt: skip
    if played_file(session, "") is not None:
        curve = _curve(20.0)
        yield session.played_at("sweep.wav", level / curve, load,
                                swept(session, "played-sweep.wav"),
                                "deviation from the replay curve", curve=curve)  # fmt: skip
    for output, file in one_by_one(session):
        yield session.played_at(file, level, load, tone(1000.0), drive_only(output), driven=output)
    for times in OVERLOADS:
        yield session.played_at(f"tone-1k-{number_in_name(1000 * times * level)}mv.wav",
                                times * level, load, tone(1000.0),
                                "distortion against level, to the overload")  # fmt: skip
    yield ("the levels are those at the phono input: take them down from a line level by a "
           "divider there, so that its own noise stays below the cartridge's")  # fmt: skip


def line_load(session: PlanningSession) -> float | str:
    """The load named first; a bridging input where none is."""
    return session.loads[0] if session.loads else "open"


def _across_loads(session: PlanningSession, level: Level, load: float | str) -> PlannedSteps:
    """The same generator level into another load: output impedance."""
    other: float | str = BRIDGING_OHM if load == "open" else "open"
    for second in session.other_loads or (other,):
        name = "open" if second == "open" else f"{number_in_name(float(second))}ohm"
        yield session.set_to(f"tone-1k-{name}.wav", tone(1000.0)(level), second,
                             "output impedance: the same level into another load",
                             volts=USUAL_V)  # fmt: skip


def _through(session: PlanningSession, level: Level, load: float | str) -> PlannedSteps:
    """The same generator level through a resistor: input impedance."""
    if level == "unknown":
        return
    ohm = in_text(THROUGH_OHM, "ohm")
    stimulus = ToneThroughResistor(
        through_ohm=THROUGH_OHM, resistor_percent=1.0, through_hz=clear_hz(1000.0),
        generator_vrms=level,
    )  # fmt: skip
    yield session.set_to(f"tone-1k-through-{number_in_name(THROUGH_OHM)}ohm.wav", stimulus, load,
                         f"input impedance: the same level through {ohm} before the input; state "
                         "the resistor that you take", volts=USUAL_V)  # fmt: skip


def _cartridge_v(session: PlanningSession) -> float:
    words = (session.manifest.conditions.input or "").lower().replace("-", " ").split()
    return COIL_V if "mc" in words or "coil" in words else MAGNET_V


def _curve(hz: float) -> float:
    """Gain of the replay curve at a frequency re 1 kHz, a ratio."""
    return float(10 ** (riaa_db(np.array(hz), amended=False) / 20))
