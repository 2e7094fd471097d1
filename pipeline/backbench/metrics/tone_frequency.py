"""Frequency of a tone as the converter counts it, and how far its clock and the generator's
differ."""

from __future__ import annotations

import math

from backbench.metrics.declaration import MeasuredValue, metric
from backbench.metrics.table_uncertainty import scale_u
from backbench.metrics.tone import TONES, ToneView
from backbench.metrics.tone_trace import ToneTrace
from backbench.signal.tone import ToneLines

FAMILY = "Level and gain"

WIDENED = 2.0
"""Standard deviation of the frequency read from the window's greatest bins over the least that
noise allows: 2.0 in the mean by simulation, 1.7 to 2.4 in groups of 60 records (noise of 10 to
1000 ppm of the tone, 0.4 s to 3 s, 64 Hz and 997 Hz)."""
LEAST_FRACTION_OF_BIN = 1e-4
"""What the interpolation between bins and a slow drift within the record leave, in bins."""


def _u_hz(lines: ToneLines) -> float:
    """Standard uncertainty of the frequency by the record's noise.

    Least by the Cramer-Rao bound for a sine in white noise: sqrt(12) r / (2 pi T), r the relative
    uncertainty of its amplitude.
    """
    spectrum = lines.spectrum
    least = math.sqrt(12) * lines.fundamental.relative * spectrum.resolution_hz / (2 * math.pi)
    return math.hypot(WIDENED * least, LEAST_FRACTION_OF_BIN * spectrum.resolution_hz)


@metric(
    "tone_frequency",
    title="Frequency of the tone",
    unit="Hz",
    better="neither",
    source="common practice, no source",
    stimuli=TONES,
    version=1,
    choice="as the recorder's clock counts it, whose own error is not in the uncertainty; of a "
    "trace a declared error of its time is",
)
def tone_frequency(tone: ToneView | ToneTrace) -> MeasuredValue:
    """Frequency of the fundamental as found."""
    if isinstance(tone, ToneTrace):
        fit = tone.sine.fit
        clock = scale_u(tone.capture_data, "time") * fit.hz
        return MeasuredValue(fit.hz, math.hypot(fit.u_hz, clock), fit.u_hz)
    lines = tone.distorting()
    own = _u_hz(lines)
    return MeasuredValue(lines.frequency_hz, own, own)


@metric(
    "clock_error",
    title="Clock error of the tone",
    unit="ppm",
    better="nearer zero",
    source="common practice, no source",
    stimuli=["tone"],
    version=1,
    choice="of the generator's clock re the recorder's: which of the two is off isn't known",
)
def clock_error(tone: ToneView) -> MeasuredValue:
    """Frequency found over frequency stated, less one, in parts per million."""
    lines = tone.distorting()
    own = 1e6 * _u_hz(lines) / tone.stated_hz
    return MeasuredValue(1e6 * (lines.frequency_hz / tone.stated_hz - 1), own, own)
