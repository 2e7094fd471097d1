"""Bursts of a sine in an oscilloscope's trace, measured as those of a recording."""

from __future__ import annotations

import math

import numpy as np

from backbench.documents.stimuli import Burst, Table
from backbench.errors import Refusal
from backbench.metrics.burst import BurstView
from backbench.metrics.declaration import CaptureData, view
from backbench.metrics.table_uncertainty import UNDECLARED, limits_declared, limits_u, scale_u
from backbench.metrics.trace_samples import trace_of
from backbench.signal.burst import bursts_of_trace
from backbench.signal.quantisation_step import step_of_many
from backbench.signal.track import Track

EVEN_WITHIN = 0.01
"""How far instants of an evenly spaced trace may be off their places, steps: as printed."""


@view("burst trace table", version=5)
def burst_trace(capture_data: CaptureData, number: int) -> BurstView:
    """The bursts of a trace. Raises Refusal where its steps are uneven, or they aren't those."""
    stimulus = capture_data.stimulus
    assert isinstance(stimulus, Table)
    assert stimulus.burst_hz is not None
    assert stimulus.on_ms is not None
    assert stimulus.period_ms is not None
    time, volts = trace_of(capture_data, "voltage")
    step = float(time[-1] - time[0]) / (len(time) - 1)
    if np.abs(time - time[0] - step * np.arange(len(time))).max() > EVEN_WITHIN * step:
        raise Refusal("the steps of the trace's time are uneven, which bursts can't be read from")
    peak = float(np.abs(volts).max()) or 1.0
    own_error = math.hypot(
        scale_u(capture_data, "voltage"), limits_u(capture_data, "voltage") / peak
    )
    track = Track(volts, 1 / step, peak, own_error)
    played = Burst(
        burst_hz=stimulus.burst_hz, on_ms=stimulus.on_ms, period_ms=stimulus.period_ms,
        generator_vrms=stimulus.generator_vrms,
    )  # fmt: skip
    bursts = bursts_of_trace(track, played.burst_hz, played.on_ms / 1e3, played.period_ms / 1e3)
    remark = None if limits_declared(capture_data, "voltage") else UNDECLARED
    return BurstView(capture_data, played, track, bursts, step_of_many(volts), remark)
