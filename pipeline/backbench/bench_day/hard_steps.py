"""The captures that ask most of an amplifier, after all others: one output alone up to its limit,
rated power above the audio band, and a burst far beyond the limit."""

from __future__ import annotations

import math
from collections.abc import Iterator

from backbench.bench_day.bench_limits import top_hz
from backbench.bench_day.capture_names import number_in_name
from backbench.bench_day.common_steps import PlannedSteps, tone
from backbench.bench_day.planned_capture import PlannedStep
from backbench.bench_day.planning_session import PlanningSession
from backbench.documents.clear_frequencies import clear_hz
from backbench.documents.stimuli import Burst, Level, Stimulus
from backbench.quantities.writing import in_text

ALONE_SHARES = (0.5, 0.75, 1.0, 1.15, 1.3, 1.5)
"""Of the rated power, rising: one output alone may give more than all of them together."""
ABOVE_HZ = (10_000.0, 20_000.0, 25_000.0, 30_000.0, 40_000.0, 60_000.0, 80_000.0, 100_000.0)
"""Rising, from within the band, until 1 % distortion is passed or the recorder ends."""
BAND_END_HZ = 20_000.0
THIRD = 3.0
OVERLOAD = 2.0
"""Generator volts re those of rated power: 6 dB of overload (common practice, no source)."""
CLIPPED_SHARE = 1.5
"""Of the rated power: what the input range has to hold of an output that clips."""
BURST_HZ, ON_MS, PERIOD_MS, BURST_S = 1000.0, 20.0, 500.0, 5.0
"""Of IHF-A-202:1978, from memory; ten bursts."""


def alone(session: PlanningSession, load: float) -> Iterator[PlannedStep]:
    """The first output alone, up to its limit: the supply then feeds no other."""
    if session.is_pair or len(session.outputs) < 2:
        return
    output = session.outputs[0]
    for share in ALONE_SHARES:
        power = share * session.rated_w
        file = f"only-{output.replace(' ', '-')}-1k-{number_in_name(power)}w.wav"
        yield session.powered(file, power, load, tone(1000.0),
                              f"power of {output} driven alone, beside that of all outputs driven",
                              driven=output)  # fmt: skip


def above_the_band(session: PlanningSession, load: float) -> PlannedSteps:
    """The generator level of rated power at rising frequencies: slew factor."""
    volts = math.sqrt(session.rated_w * load)
    possible = [hz for hz in ABOVE_HZ if THIRD * hz <= top_hz(session.rate_hz)]
    if not any(hz > BAND_END_HZ for hz in possible):
        least = math.ceil(THIRD * ABOVE_HZ[2] / top_hz(1.0) / 1000) * 1000
        yield (f"slew factor is left out: harmonics of tones above {in_text(BAND_END_HZ, 'Hz')} "
               f"need a sample rate of at least {in_text(least, 'Hz', 6)}")  # fmt: skip
        return
    for hz in possible:
        yield session.at(f"slew-{number_in_name(hz)}.wav", volts, load, tone(hz),
                         "slew factor: the generator level of rated power at 1 kHz")  # fmt: skip
    yield ("slew-10k.wav and those beside it: rated power at these frequencies can burn the "
           "resistor of an amplifier's output network and any tweeter: dummy load only, rising "
           "frequency, 2 s each with a rest between, and stop where distortion passes "
           "1 %")  # fmt: skip


def overload(session: PlanningSession, load: float) -> Iterator[PlannedStep]:
    """Bursts that clip: how soon the output is itself again."""
    level = session.chain.level(OVERLOAD * math.sqrt(session.rated_w * load), load)
    held = math.sqrt(CLIPPED_SHARE * session.rated_w * load)
    step = session.set_to("burst-overload.wav", _burst(level), load,
                          "recovery from overload: bursts at twice the generator volts of rated "
                          "power", volts=held)  # fmt: skip
    yield step.model_copy(update={"record_s": BURST_S})


def _burst(level: Level) -> Stimulus:
    return Burst(
        burst_hz=clear_hz(BURST_HZ), on_ms=ON_MS, period_ms=PERIOD_MS, generator_vrms=level
    )
