"""All that stands beside a tone and is no harmonic of it, and the bench's own part of that.

Steady noise of the bench is alike in every record and is taken off in power. Hum, sidebands and
clicks of a loop-back may be in another record or not, in any phase: what they may add is in the
uncertainty.
"""

from __future__ import annotations

import math

from backbench.metrics.bench_floor import noise_and_doubtful_off
from backbench.metrics.declaration import MeasuredValue
from backbench.metrics.sample_steps import steps_off
from backbench.metrics.tone import ToneView
from backbench.metrics.tone_wavering import of_the_record, unsteady_beside
from backbench.signal.tone import BAND_HZ


def less_steps(
    tone: ToneView, reading: MeasuredValue, whole: float, band_hz: float = BAND_HZ[1]
) -> MeasuredValue:
    """A residual without what the steps of the samples make of it.

    whole: what the figure gives the level of the tone as: 100 for a ratio in percent, its volts for
    an rms. band_hz: how far the residual reaches.
    """
    return steps_off(reading, tone.lines, whole / tone.square.rms, band_hz)


def noise_of(tone: ToneView) -> MeasuredValue:
    """All that is neither fundamental nor harmonic, V.

    What the tone's own wavering and clicks may have made of it is in the uncertainty.
    """
    noise = tone.distorting().noise_only
    variance = noise.variance + of_the_record(tone) ** 2
    own = math.sqrt(variance) / (2 * noise.rms) if noise.value > 0 else 0.0
    return less_steps(tone, MeasuredValue(noise.rms, own, own, noise.samples), tone.square.rms)


def less_bench_noise(tone: ToneView, figure: MeasuredValue, whole: float) -> MeasuredValue:
    """A residual without the bench's own noise, as the nearest loop-back shows it.

    whole: what the figure gives the level of the tone as, as for less_steps.
    """
    bench = tone.bench
    if bench is None:
        return figure
    per_volt = whole / tone.square.rms
    own = noise_of(bench)
    total = MeasuredValue(
        per_volt * own.value, per_volt * own.uncertainty, per_volt * own.estimation, own.dof
    )
    lines = max(tone.lines.noise_only.value - tone.lines.between_lines, 0.0)
    return noise_and_doubtful_off(
        figure, total, steady=per_volt * _steady_rms(bench), lines=per_volt**2 * lines
    )


def _steady_rms(bench: ToneView) -> float:
    """What of a loop-back's noise is in every record, V: nothing where it isn't steady."""
    if unsteady_beside(bench):
        return 0.0
    noise = math.sqrt(bench.lines.between_lines)
    own = less_steps(bench, MeasuredValue(noise, 0.0), bench.square.rms)
    return own.value if own.bound is None else 0.0
