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
from backbench.metrics.warnings import joined
from backbench.quantities.writing import in_text
from backbench.signal.tone import BAND_HZ
from backbench.signal.uncertainty import Contribution, combine

MATTERS = 0.1
"""Share of a residual's power that may be a mains line under the tone, before it is a bound."""


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
    volts = MeasuredValue(noise.rms, own, own, noise.samples)
    return with_line_under(tone, less_steps(tone, volts, tone.square.rms), tone.square.rms)


def with_line_under(tone: ToneView, reading: MeasuredValue, whole: float) -> MeasuredValue:
    """A residual, with what of the mains the lobe of the tone itself may hold.

    whole: as for less_steps. An upper bound, with the cause, where that is a good part of it.
    """
    most = (whole / tone.square.rms) ** 2 * tone.lines.perhaps_under_fundamental
    if most <= 0 or reading.value <= 0:
        return reading
    if most <= MATTERS * reading.value**2 and reading.bound is None:
        added = Contribution(most / (2 * reading.value))
        total = combine([Contribution(reading.uncertainty, reading.dof), added])
        own = combine([Contribution(reading.estimation, reading.dof), added])
        return reading.but(uncertainty=total.u, estimation=own.u, dof=total.dof)
    mains = in_text(tone.capture_data.mains_hz or 0.0, "Hz", 6)
    remark = (
        f"a line or sideband of the {mains} mains may lie under {in_text(tone.stated_hz, 'Hz', 6)}"
        ": record for longer, or play a frequency that is clear of it"
    )
    value = math.sqrt(reading.value**2 + most)
    return reading.but(value=value, bound="upper", remark=joined(reading.remark, remark))


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
