"""The captures of units that bring their own signal: tuners and players."""

from __future__ import annotations

from backbench.bench_day.capture_names import number_in_name
from backbench.bench_day.common_steps import (
    PlannedSteps,
    between_outputs,
    one_by_one,
    tone,
    two_tones,
)
from backbench.bench_day.line_steps import USUAL_V, line_load
from backbench.bench_day.planned_capture import PlannedStep
from backbench.bench_day.planning_session import PlanningSession
from backbench.documents.stimuli import FmTone, Idle
from backbench.quantities.writing import in_text

TUNER_HZ = ((67.0, "67"), (4_769.0, "4p77k"))
# 113 Hz stands for 100 Hz, where hum lies.
SEPARATION_HZ = ((1000.0, "1k"), (113.0, "113"), (10_000.0, "10k"))
DEEMPHASIS_HZ = ((1000.0, "1k"), (113.0, "113"), (5000.0, "5k"), (10_000.0, "10k"))
DEVIATION_HZ, PILOT_HZ, FM_S = 75_000.0, 19_000.0, 10.0
"""Full deviation and pilot of stereo broadcasting (from memory); seconds of each."""
RECORDED_DB = (-20.0, -60.0, -80.0, -90.0)
"""Levels below full scale at which a player's errors of level show; common practice, no source."""


def tuner(session: PlanningSession) -> PlannedSteps:
    """A tuner: audio that a modulated carrier of a signal generator brings to its outputs."""
    load = line_load(session)
    idle = session.idle(load).model_copy(update={
        "stimulus": Idle(idle="carrier of 65 dBf, not modulated"),
        "why": "residual noise and hum on a strong carrier",
    })  # fmt: skip
    yield idle
    why = between_outputs(session, "level and distortion at full deviation, 65 dBf")
    yield session.set_to("tone-1k.wav", tone(1000.0)("unknown"), load, why, volts=USUAL_V)
    for hz, name in TUNER_HZ:
        yield session.set_to(f"tone-{name}.wav", tone(hz)("unknown"), load,
                             "distortion over the band, 65 dBf", volts=USUAL_V)  # fmt: skip
    for output, file in one_by_one(session):
        for hz, name in SEPARATION_HZ:
            yield session.set_to(file.replace("1k", name), tone(hz)("unknown"), load,
                                 f"separation in stereo: modulate {output} only",
                                 volts=USUAL_V, driven=output)  # fmt: skip
    yield from _modulated(session)
    yield ("sensitivity, quieting and distortion against the RF level, in mono and stereo, and AM "
           "suppression come from the RF generator's own levels: enter them as a tuner table, a "
           "row for each level")  # fmt: skip
    yield ("capture ratio, selectivity, image and IF rejection come from a second RF generator: "
           "enter them as an interference table, a row for each of its levels")  # fmt: skip
    yield ("all captures: set the modulation by the RF generator's deviation meter, the level of "
           "its audio input is not that of the tuner")  # fmt: skip


def _modulated(session: PlanningSession) -> PlannedSteps:
    """Tones of one deviation: what is left of the pilot, and the de-emphasis."""
    pilot = FmTone(fm_tone_hz=1000.0, deviation_hz=DEVIATION_HZ, pilot_hz=PILOT_HZ)
    yield _fm(session, "pilot-1k.wav", pilot, "residue of pilot and subcarrier, in stereo")
    for hz, name in DEEMPHASIS_HZ:
        mono = FmTone(fm_tone_hz=hz, deviation_hz=DEVIATION_HZ)
        yield _fm(session, f"fm-{name}.wav", mono, "de-emphasis, in mono, without pre-emphasis")
    yield ("fm-1k.wav and those beside it: add deemphasis_s to their stimulus as the tuner's "
           "region has it (50 µs or 75 µs); without it no de-emphasis error is given")  # fmt: skip


def _fm(session: PlanningSession, file: str, stimulus: FmTone, why: str) -> PlannedStep:
    step = session.set_to(file, stimulus, line_load(session), why, volts=USUAL_V)
    return step.model_copy(update={"record_s": FM_S})


def played_source(session: PlanningSession) -> PlannedSteps:
    """A disc player or converter: it plays files or a test disc at its own line output."""
    load = line_load(session)
    yield session.idle(load, "digital silence playing")
    yield _own_level(session, "tone-1k.wav", 1000.0,
                     between_outputs(session, "level and distortion at full scale"))  # fmt: skip
    for hz, name in ((20.0, "20"), (20_000.0, "20k")):
        yield _own_level(session, f"tone-{name}.wav", hz, "the end of the band at full scale")
    for output, file in one_by_one(session):
        yield session.set_to(file, tone(1000.0)("unknown"), load,
                             f"separation: play {output} only, silence in the others",
                             volts=USUAL_V, driven=output)  # fmt: skip
    yield session.set_to("two-tones-19k-20k.wav", two_tones((19_000.0, 20_000.0), 1.0)("unknown"),
                         load, "difference-frequency distortion", volts=USUAL_V)  # fmt: skip
    for db in RECORDED_DB:
        why = f"the same tone at {in_text(db, 'dB')} re full scale, with dither"
        yield _own_level(session, f"tone-1k-minus{number_in_name(-db)}db.wav", 1000.0, why)
    yield ("all captures: the unit plays the tone from a file or disc at full scale unless stated; "
           "use files with dither, at the unit's own rate")  # fmt: skip


def _own_level(session: PlanningSession, file: str, hz: float, why: str) -> PlannedStep:
    return session.set_to(file, tone(hz)("unknown"), line_load(session), why, volts=USUAL_V)
