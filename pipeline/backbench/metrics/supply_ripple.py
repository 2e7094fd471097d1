"""The voltage of a supply in an oscilloscope's trace: its mean and its ripple."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from backbench.documents.stimuli import Table
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declaration import CaptureData, MeasuredValue, metric, view
from backbench.metrics.table_uncertainty import (
    UNDECLARED,
    digits_u,
    limits_declared,
    limits_u,
    scale_u,
)
from backbench.metrics.trace_samples import trace_of
from backbench.metrics.traits import Traits
from backbench.quantities.writing import in_text
from backbench.signal.quantisation_step import rounding, step_of_many
from backbench.signal.sine_fit import SineFit, fit_sine

FAMILY = "Supplies"

RIPPLES = ["ripple trace table"]
LAST_MULTIPLE = 40
"""Of the mains frequency, 2 kHz: common practice, no source."""
LOWEST, LEAST_SHARE = 4, 0.5
"""Multiples that a rectifier's ripple lies in for the most part: common practice, no source."""
MAINS_WITHIN = 0.01
"""How far mains and the instrument's clock may be off together, relative."""
COUPLED = 0.5
"""A mean below this share of the ripple's swing is that of a trace coupled without DC."""
LISTED = 1e-2
"""Lines from this share of the ripple on are listed."""
MOST_LINES = 8
_SOURCE = "common practice, no source"


@dataclass(frozen=True, eq=False)
class RippleView:
    """A supply's trace.

    fit: at the mains frequency and its multiples. step: of the converter, V. scale: relative
    standard uncertainty of the volts. offset_u: that of the mean by the instrument's limits, V.
    digits_u: that of a line by its last digits, V.
    """

    capture_data: CaptureData
    fit: SineFit
    step: float
    scale: float
    offset_u: float
    digits_u: float

    @property
    def rms(self) -> float:
        """Root sum square of the lines, V."""
        return math.sqrt(float((np.abs(self.fit.lines) ** 2).sum()) / 2)

    @property
    def swing(self) -> float:
        """Greatest less least value of the sum of the lines, V."""
        turns = np.arange(4096) / 4096
        orders = np.arange(1, len(self.fit.lines) + 1)
        wave = (self.fit.lines @ np.exp(2j * np.pi * np.outer(orders, turns))).real
        return float(wave.max() - wave.min())

    @property
    def own(self) -> float:
        """Standard uncertainty of the rms by noise and steps, V."""
        noise = math.sqrt(float((self.fit.u_lines**2).sum()) / 2)
        return math.hypot(noise, rounding(self.step), self.digits_u)

    @property
    def detail(self) -> dict[str, str]:
        """Names the supply."""
        assert isinstance(self.capture_data.stimulus, Table)
        return {"supply": self.capture_data.stimulus.ripple or ""}

    @property
    def remark(self) -> str | None:
        """Says where the instrument's own error is not known."""
        return None if limits_declared(self.capture_data, "voltage") else UNDECLARED


@view("ripple trace table", version=2)
def ripple_view(capture_data: CaptureData, number: int) -> RippleView:
    """Lines at multiples of the mains frequency. Raises Refusal where they aren't the ripple."""
    if capture_data.mains_hz is None:
        raise Refusal("the mains frequency was not stated")
    time, volts = trace_of(capture_data, "voltage")
    fit = fit_sine(time, volts, capture_data.mains_hz, last=LAST_MULTIPLE, search=False)
    share = float((np.abs(fit.lines[:LOWEST]) ** 2).sum()) / 2 / fit.variance
    if share < LEAST_SHARE or abs(fit.hz / capture_data.mains_hz - 1) > MAINS_WITHIN:
        raise Refusal(
            f"the first multiples of {in_text(capture_data.mains_hz, 'Hz')} make up "
            f"{in_text(100 * share, '%', 2)} of the trace: no ripple of the mains"
        )
    return RippleView(
        capture_data, fit, step_of_many(volts), scale_u(capture_data, "voltage"),
        limits_u(capture_data, "voltage"), digits_u(capture_data, "voltage"),
    )  # fmt: skip


@metric(
    "supply_voltage", title="Supply voltage", unit="V", better="neither", source=_SOURCE,
    stimuli=RIPPLES, version=1, choice="mean over the trace; not of a trace coupled without DC",
    traits=Traits(has_sign=True, sheet="left out"),
)  # fmt: skip
def supply_voltage(seen: RippleView) -> MeasuredValue:
    """Mean voltage of a supply."""
    mean = seen.fit.offset
    if abs(mean) < COUPLED * seen.swing:
        raise NotApplicable("the mean is below half the ripple: the trace was coupled without DC")
    own = math.hypot(seen.fit.u / math.sqrt(2), rounding(seen.step), seen.offset_u)
    u = math.hypot(own, seen.scale * mean)
    return MeasuredValue(mean, u, own, detail=seen.detail, remark=seen.remark)


@metric(
    "supply_ripple", title="Supply ripple", unit="V", better="lower", source=_SOURCE,
    stimuli=RIPPLES, version=1,
    choice="rms of the lines at multiples of the mains frequency up to the 40th",
    traits=Traits(sheet="left out"),
)  # fmt: skip
def supply_ripple(seen: RippleView) -> MeasuredValue:
    """Root mean square of a supply's ripple."""
    return _amount(seen, seen.rms, seen.own)


@metric(
    "supply_ripple_swing", title="Supply ripple, peak to peak", unit="V", better="lower",
    source=_SOURCE, stimuli=RIPPLES, version=1,
    choice="of the sum of the lines at multiples of the mains frequency up to the 40th; what is "
    "faster, such as a rectifier's spikes, is not in it",
    traits=Traits(sheet="left out"),
)  # fmt: skip
def supply_ripple_swing(seen: RippleView) -> MeasuredValue:
    """Greatest less least value of a supply's ripple."""
    return _amount(seen, seen.swing, 2 * math.sqrt(2) * seen.own)


def _amount(seen: RippleView, value: float, own: float) -> MeasuredValue:
    u = math.hypot(own, seen.scale * value)
    return MeasuredValue(value, u, own, detail=seen.detail, remark=seen.remark)


@metric(
    "supply_ripple_line", title="Lines of the supply ripple", unit="V", better="neither",
    source=_SOURCE, stimuli=RIPPLES, version=1,
    choice="rms by multiple of the mains frequency, those from a hundredth of the ripple on",
    traits=Traits(sheet="left out"),
)  # fmt: skip
def supply_ripple_line(seen: RippleView) -> Iterator[MeasuredValue]:
    """Root mean square of a line of a supply's ripple."""
    rms = np.abs(seen.fit.lines) / math.sqrt(2)
    listed = [k for k in np.argsort(-rms)[:MOST_LINES] if rms[k] >= LISTED * seen.rms]
    for k in sorted(listed):
        noise = float(seen.fit.u_lines[k]) / math.sqrt(2)
        own = math.hypot(noise, rounding(seen.step), seen.digits_u)
        u = math.hypot(own, seen.scale * float(rms[k]))
        yield MeasuredValue(
            float(rms[k]), u, own, order=int(k) + 1, frequency_hz=seen.fit.hz * (int(k) + 1),
            detail=seen.detail, remark=seen.remark,
        )  # fmt: skip
