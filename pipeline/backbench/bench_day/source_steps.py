"""The captures of units that bring their own signal: tuners and players."""

from __future__ import annotations

from collections.abc import Iterator

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
from backbench.documents.clear_frequencies import clear_hz
from backbench.documents.stimuli import FmTone, Idle, Tone
from backbench.quantities.writing import in_text

TUNER_HZ = ((67.0, "67"), (4_769.0, "4p77k"))
# 113 Hz stands for 100 Hz, where hum lies.
SEPARATION_HZ = ((1000.0, "1k"), (113.0, "113"), (10_000.0, "10k"))
DEEMPHASIS_HZ = ((1000.0, "1k"), (113.0, "113"), (5000.0, "5k"), (10_000.0, "10k"))
DEVIATION_HZ, PILOT_HZ, FM_S = 75_000.0, 19_000.0, 10.0
"""Full deviation and pilot of stereo broadcasting (from memory); seconds of each."""
RECORDED_DB = (-20.0, -60.0, -80.0, -90.0, -100.0, -110.0)
"""Levels below full scale at which a player's errors of level show; common practice, no source."""
LOW_TONE_DB = -60.0
LOW_TONE_S = 10.0
"""A tone near the noise of 16 bits is known to some 0.2 dB then (computed from its own noise)."""
FILE_HZ = 44_100.0
"""Sample rate of the compact disc, at which most files are there."""
QUARTER_DB = -3.0
BAND_END = 0.45
"""Share of the recorder's sample rate up to which images are read."""


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
    yield _played(session, "tone-1k.wav", 1000.0, 0.0,
                  between_outputs(session, "level and distortion at full scale"))  # fmt: skip
    for hz, name, why in ((20.0, "20", ""), (20_000.0, "20k", ", images")):
        yield _played(session, f"tone-{name}.wav", hz, 0.0, f"the end of the band{why}")
    for output, file in one_by_one(session):
        yield session.set_to(file, tone(1000.0)("unknown"), load,
                             f"separation: play {output} only, silence in the others",
                             volts=USUAL_V, driven=output)  # fmt: skip
    yield session.set_to("two-tones-19k-20k.wav", two_tones((19_000.0, 20_000.0), 1.0)("unknown"),
                         load, "difference-frequency distortion", volts=USUAL_V)  # fmt: skip
    yield _played(session, "tone-quarter.wav", FILE_HZ / 4, QUARTER_DB,
                  "jitter: a tone at a quarter of the sample rate")  # fmt: skip
    for db in RECORDED_DB:
        yield _played(session, f"tone-1k-minus{number_in_name(-db)}db.wav", 1000.0, db, _of(db))
    yield from _played_notes(session)


def _of(db: float) -> str:
    return "dynamic range, level error" if db == LOW_TONE_DB else "linearity: level error"


def _played_notes(session: PlanningSession) -> Iterator[str]:
    rate = in_text(FILE_HZ, "Hz", 4)
    yield (f"all captures: the unit plays the tones from files or a disc of {rate} with dither, at "
           "the level re full scale that each states; where its files have another rate, correct "
           "file_rate_hz")  # fmt: skip
    if BAND_END * session.rate_hz < FILE_HZ - 20_000.0:
        yield (f"images above half the sample rate aren't read at {in_text(session.rate_hz, 'Hz')}:"
               " record at 96 kHz")  # fmt: skip
    yield ("de-emphasis: play tones of 1, 5 and 16 kHz of a disc that is marked as recorded with "
           "pre-emphasis, and add them with pre_emphasis = true")  # fmt: skip


def _played(session: PlanningSession, file: str, hz: float, db: float, why: str) -> PlannedStep:
    stimulus = Tone(
        tone_hz=clear_hz(hz), generator_vrms="unknown", full_scale_db=db, file_rate_hz=FILE_HZ
    )
    step = session.set_to(file, stimulus, line_load(session), why, volts=_volts(db))
    longer = max(step.record_s or 0.0, LOW_TONE_S) if db <= LOW_TONE_DB else step.record_s
    return step.model_copy(update={"record_s": longer})


def _volts(db: float) -> float:
    """What an input range is chosen for: one range down to the low tones, so that its error
    drops out of the differences."""
    return USUAL_V if db > LOW_TONE_DB else USUAL_V * 10 ** (LOW_TONE_DB / 20)
