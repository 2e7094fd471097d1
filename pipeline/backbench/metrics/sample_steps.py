"""What the steps of a record's samples add to its noise and to its lines.

Dithered steps add noise of a known range: between that of rounding alone and that of rounding with
triangular dither. It is taken off in power, its width is in the uncertainty, and where it makes
half of a figure that is an upper bound. Steps that no noise blurs swallow what is smaller than they
are, or make lines of it: a figure is then no more than it shows and half a step.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from backbench.metrics.bench_floor import lines_off
from backbench.metrics.declaration import MeasuredValue
from backbench.metrics.warnings import joined
from backbench.quantities.writing import in_text
from backbench.signal.dither import STEPS, TRIANGULAR
from backbench.signal.recorded_band import SteppedRecord, shown
from backbench.signal.tone import ToneLines
from backbench.signal.tone_set import ToneSet
from backbench.signal.track import Array
from backbench.signal.uncertainty import Contribution, combine

LOST = 0.05
"""Share of its power that may be missing in a figure before that is remarked on."""
HALF_STEP = 0.5
"""The greatest error of a rounded sample, steps; no line or noise of it can have more rms."""
STEPS_CHOICE = (
    "; the noise of the samples' steps is taken off in power, an upper bound where with customary "
    "dither they make half of it; where no noise blurs the steps, an upper bound of what is found "
    "and what they may hide"
)


def steps_off(
    reading: MeasuredValue, lines: ToneLines | ToneSet, per_volt: float, band_hz: float
) -> MeasuredValue:
    """What stands beside tones, without what the steps of the samples make of it.

    per_volt: what the figure gives one volt as. band_hz: how far the figure reaches.
    """
    step = per_volt * lines.step_v
    if not lines.is_dithered:
        left = with_undithered_steps(reading, step * math.sqrt(STEPS))
    else:
        left = dither_off(reading, step * math.sqrt(2 * band_hz / lines.spectrum.rate_hz))
    missing = max(band_hz - shown(lines).hz, 0.0) / lines.spectrum.resolution_hz
    return perhaps_cut(left, lines, missing, per_volt)


class BandFactors(NamedTuple):
    """Power factors by bin of a band under a weighting, their sum and the greatest of them."""

    each: Array
    sum: float
    greatest: float


def weighted_steps_off(
    record: SteppedRecord,
    reading: MeasuredValue,
    chosen: slice,
    weights: BandFactors,
    reference: float = 1.0,
) -> MeasuredValue:
    """An rms of a band, weighted or not, without what the steps of the samples make of it.

    reference: factor that the reading is lower by than the weighting's own.
    """
    if not record.is_dithered:
        greatest = math.sqrt(weights.greatest) / reference
        return with_undithered_steps(reading, HALF_STEP * greatest * record.step_v)
    spectrum = record.spectrum
    share = weights.sum / reference**2 / len(spectrum.bins)
    left = dither_off(reading, record.step_v * math.sqrt(share))
    first = int(min(shown(record).hz / spectrum.resolution_hz, chosen.stop)) - chosen.start
    missing = float(weights.each[first:].sum())
    return perhaps_cut(left, record, missing / reference**2)


def perhaps_cut(
    reading: MeasuredValue, record: SteppedRecord, missing: float, per_volt: float = 1.0
) -> MeasuredValue:
    """What stands in a band, wider by the noise that the record may have lost at its end.

    missing: bins of the band beyond what the record shows, each as it is weighted.
    """
    lost = per_volt**2 * lost_power(record, missing)
    if lost <= 0 or reading.bound is not None:
        return reading
    added = Contribution((math.sqrt(reading.value**2 + lost) - reading.value) / math.sqrt(3))
    own = combine([Contribution(reading.estimation, reading.dof), added])
    total = combine([Contribution(reading.uncertainty, reading.dof), added])
    wider = reading.but(uncertainty=total.u, estimation=own.u, dof=total.dof)
    if lost <= LOST * reading.value**2:
        return wider
    return wider.but(remark=joined(reading.remark, cut_remark(record)))


def lost_power(record: SteppedRecord, missing: float) -> float:
    """Mean square, V^2, of the noise that a record may have lost in so many bins at its end."""
    return missing * shown(record).below


def cut_remark(record: SteppedRecord) -> str:
    """That a record may have lost what lay at the end of its band."""
    hz = in_text(shown(record).hz, "Hz", 3)
    return (
        f"above {hz} the record holds no more than the noise of its samples' steps, and below that "
        "more: it may have been cut off there"
    )


def dither_off(reading: MeasuredValue, step: float) -> MeasuredValue:
    """An rms without the noise of dithered steps.

    step: the samples' step times the root of its noise's share that the figure holds, in the
    figure's unit.
    """
    share = TRIANGULAR * (step / reading.value) ** 2 if reading.value > 0 else 0.0
    if reading.bound is not None or share == 0:
        return reading
    if share > 0.5:
        remark = "the steps of the samples make half of it or more"
        return reading.but(bound="upper", remark=joined(reading.remark, remark))
    least = share * STEPS / TRIANGULAR
    left = reading.value * math.sqrt(1 - (share + least) / 2)
    # Rounding alone or triangular dither: mostly the one or the other, so that the whole half
    # distance is the deviation.
    width = Contribution(reading.value**2 / left * (share - least) / 4)
    scale = reading.value / left
    own = combine([Contribution(reading.estimation * scale, reading.dof), width])
    shared = max(reading.uncertainty**2 - reading.estimation**2, 0.0) / scale**2
    total = combine([own, Contribution(math.sqrt(shared))])
    return reading.but(value=left, uncertainty=total.u, estimation=own.u, dof=total.dof
    )  # fmt: skip


def with_undithered_steps(reading: MeasuredValue, most: float) -> MeasuredValue:
    """A figure of a record whose steps no noise blurs.

    most: what they may have added or swallowed, in the figure's unit; it adds in unknown phase.
    """
    widened = lines_off(reading.but(remark=None), MeasuredValue(most, 0.0))
    if widened.bound is None:
        return widened.but(remark=reading.remark)
    remark = (
        "the noise is too weak to blur the steps of the samples, which may add or hide "
        f"{in_text(most)}; use a more sensitive input range, longer words or dither"
    )
    return widened.but(remark=joined(reading.remark, remark))
