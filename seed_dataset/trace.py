"""A square wave as an oscilloscope kept it: a CSV table of instants and volts."""

from __future__ import annotations

import numpy as np

from backbench.seed_dataset.behaviour import NOMINAL_OHM, Behaviour
from backbench.seed_dataset.chain import steady
from backbench.seed_dataset.draws import generator_for
from backbench.seed_dataset.series import laid_out
from backbench.seed_dataset.square import RISE_TIME_S, Square
from backbench.seed_dataset.stimulus import number

HZ = 10_000.0
LEVEL_VPP = 0.1
SAMPLES, STEP_S, LEAD_S = 2500, 1e-7, 25e-6
STEPS = 1024  # of the instrument over its screen, which the wave fills to four fifths
PROBE_RISE_TIME_S = 3.5e-9


def trace_csv(review_key: str, file: str, behaviour: Behaviour, *, loaded: bool) -> str:
    """Columns time_s and volts of two and a half periods, as a digitising screen has them."""
    played, base, about = Square(HZ, LEVEL_VPP).spectrum()
    through = steady(behaviour, played, base, about, NOMINAL_OHM if loaded else np.inf)
    lead = np.exp(-2j * np.pi * base * LEAD_S * np.arange(len(through)))
    top = int(0.5 / STEP_S / base)
    volts = laid_out((through * lead)[:top], base, SAMPLES, 1 / STEP_S)
    step = 2 * float(np.abs(volts).max()) / (0.8 * STEPS)
    noise = generator_for("trace", review_key, file).standard_normal(SAMPLES)
    volts = np.round(volts / step + 0.5 * noise) * step
    rows = [f"{n * STEP_S - LEAD_S:.7f},{v:.5g}" for n, v in enumerate(volts + 0.0)]
    return "\n".join(["time_s,volts", *rows]) + "\n"


def trace_toml() -> str:
    """The stimulus as an inline table of the manifest."""
    return (
        f'{{ table = "trace", square_hz = {number(HZ)}, rise_time_s = {RISE_TIME_S:.3g}, '
        f"probe_rise_time_s = {PROBE_RISE_TIME_S:.3g}, "
        'columns = { time = { name = "time_s", unit = "s" }, '
        'voltage = { name = "volts", unit = "V" } } }'
    )
