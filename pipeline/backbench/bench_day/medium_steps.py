"""The captures of machines that play a medium: turntables and tape decks."""

from __future__ import annotations

from backbench.bench_day.common_steps import PlannedSteps, between_outputs, one_by_one, swept_hz
from backbench.bench_day.line_steps import USUAL_V, line_load
from backbench.bench_day.planned_capture import PlannedStep
from backbench.bench_day.planning_session import PlanningSession
from backbench.documents.kinds import kind_of_unit
from backbench.documents.stimuli import (
    ErasedTone,
    SilentMedium,
    Stimulus,
    SweepOnMedium,
    ToneOnMedium,
    Transport,
)
from backbench.signal.tone import BAND_HZ

SPEED_HZ = 3150.0
"""Of test tones for speed: IEC 60386 and AES6 name it (from an abstract)."""
SPEED_S, TONE_S, SILENT_S = 60.0, 10.0, 20.0
"""Enough turns of a disc for slow wow and for rumble; common practice, no source."""
SWEEP_S = 50.0
LOW_SWEEP_HZ = (4.0, 30.0)
LEVEL_HZ = {"disc": 1000.0, "tape": 315.0}
AZIMUTH_HZ = ((1000.0, "1k"), (10_000.0, "10k"))


def transport(session: PlanningSession) -> PlannedSteps:
    """A tape or disc machine: it plays a test tape or test record."""
    medium = kind_of_unit(session.manifest.unit[0].kind).medium
    load = line_load(session)
    yield session.idle(load, "medium stopped, stylus raised or tape not moving")
    yield _step(session, "speed-3150.wav", Transport(transport_hz=SPEED_HZ),
                "speed, wow and flutter: the tone of 3150 Hz of a test record or tape",
                SPEED_S)  # fmt: skip
    yield from _tape(session) if medium == "tape" else _disc(session)
    yield ("a test record's or tape's own errors of speed, level and centring can't be told from "
           "the machine's: note which one was played")  # fmt: skip


def _disc(session: PlanningSession) -> PlannedSteps:
    yield _step(session, "reference-1k.wav", ToneOnMedium(played_tone_hz=LEVEL_HZ["disc"]),
                between_outputs(session, "reference level for rumble, distortion"))  # fmt: skip
    yield _step(session, "silent-groove.wav", SilentMedium(silent_medium="silent groove"),
                "rumble of the silent groove", SILENT_S)  # fmt: skip
    yield from _separation(session)
    yield _sweep(session, "sweep.wav", _band_hz(session), "response of the cartridge")
    yield _sweep(session, "sweep-low.wav", LOW_SWEEP_HZ, "resonance of arm and cartridge")
    yield ("reference-1k.wav: add peak_velocity_cm_s to its stimulus as the test record prints it; "
           "without it no rumble is given")  # fmt: skip


def _tape(session: PlanningSession) -> PlannedSteps:
    yield _step(session, "reference-315.wav", ToneOnMedium(played_tone_hz=LEVEL_HZ["tape"]),
                between_outputs(session, "reference level, its third harmonic"))  # fmt: skip
    for hz, name in AZIMUTH_HZ:
        yield _step(session, f"tone-{name}.wav", ToneOnMedium(played_tone_hz=hz),
                    "azimuth: delay between the channels")  # fmt: skip
    yield _step(session, "silent-tape.wav", SilentMedium(silent_medium="erased tape"),
                "noise of the tape", SILENT_S)  # fmt: skip
    yield _step(session, "erased-1k.wav", ErasedTone(erased_tone_hz=AZIMUTH_HZ[0][0]),
                "erasure: the stretch of tone-1k.wav after it was erased", SILENT_S)  # fmt: skip
    yield from _separation(session)
    yield _sweep(session, "sweep.wav", _band_hz(session), "response of the machine")
    yield ("reference-315.wav: add flux_nwb_m to its stimulus as the test tape prints it; without "
           "it no signal-to-noise ratio is given; with tape_speed_cm_s and track_spacing_mm the "
           "azimuth is given as an angle too")  # fmt: skip


def _band_hz(session: PlanningSession) -> tuple[float, float]:
    return BAND_HZ[0], min(BAND_HZ[1], swept_hz(session)[1])


def _separation(session: PlanningSession) -> PlannedSteps:
    for output, file in one_by_one(session):
        step = session.set_to(file, ToneOnMedium(played_tone_hz=1000.0), line_load(session),
                              f"separation: a band that holds {output} only",
                              volts=USUAL_V, driven=output)  # fmt: skip
        yield step.model_copy(update={"record_s": TONE_S})


def _sweep(
    session: PlanningSession, file: str, ends_hz: tuple[float, float], why: str
) -> PlannedStep:
    stimulus = SweepOnMedium(played_sweep_hz=list(ends_hz), sweep_s=SWEEP_S)
    return _step(session, file, stimulus, why, SWEEP_S + 2.0)


def _step(
    session: PlanningSession, file: str, stimulus: Stimulus, why: str, seconds: float = TONE_S
) -> PlannedStep:
    step = session.set_to(file, stimulus, line_load(session), why, volts=USUAL_V)
    return step.model_copy(update={"record_s": seconds})
