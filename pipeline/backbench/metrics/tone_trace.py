"""A sine in an oscilloscope's trace: level, gain, phase, frequency, and what bounds distortion."""

from __future__ import annotations

import math
from dataclasses import dataclass

from backbench.documents.stimuli import Table, generator_level
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declaration import CaptureData, MeasuredValue, view
from backbench.metrics.table_uncertainty import (
    UNDECLARED,
    limits_declared,
    limits_u,
    scale_u,
)
from backbench.metrics.trace_samples import trace_of
from backbench.quantities.writing import in_text
from backbench.signal.quantisation_step import rounding, step_of_many
from backbench.signal.sine_fit import SineFit, fit_sine
from backbench.signal.tone import LAST_ORDER
from backbench.signal.track import Array
from backbench.signal.uncertainty import DB_PER_RELATIVE, ONE_SIDED, Contribution, combine

LEAST_PERIODIC = 0.6
"""Share of a trace's variance that its sine must make up: common practice, no source."""
LEAST_STEADY = 0.97
UNKNOWN_STEPS = 128.0
"""Steps that a trace whose values show none is taken to span: half the range of a converter of 8
bits, the least that is in use (common practice, no source)."""
CLEAR = 4.0
"""Standard uncertainties from which harmonics count as measured."""


@dataclass(frozen=True, eq=False)
class TracedSine:
    """One column of a trace as a sine.

    step: of its converter, V. scale: relative standard uncertainty of its volts that captures of
    one instrument share. own_v: standard uncertainty of its peak that they don't, V.
    """

    fit: SineFit
    step: float
    scale: float
    own_v: float
    declared: bool

    @property
    def rms(self) -> float:
        """Of the fundamental, V."""
        return self.fit.peak / math.sqrt(2)

    @property
    def own(self) -> float:
        """Relative standard uncertainty of the level from this record alone."""
        return math.hypot(self.fit.u, self.own_v) / self.fit.peak


@dataclass(frozen=True, eq=False)
class ToneTrace:
    """A trace of a tone. source: the generator's column, or why it is none."""

    capture_data: CaptureData
    sine: TracedSine
    source: TracedSine | NotApplicable

    def level(self) -> MeasuredValue:
        """Rms of the fundamental, V."""
        rms, own = self.sine.rms, self.sine.own * self.sine.rms
        total = combine([Contribution(own), Contribution(self.sine.scale * rms)])
        return MeasuredValue(rms, total.u, own, total.dof, remark=self._remark(self.sine))

    def power(self) -> MeasuredValue:
        """Of the fundamental in the stated resistor, W."""
        load = self.capture_data.conditions.load_resistance
        if load is None:
            raise NotApplicable("no resistor was connected as a load")
        power = self.sine.rms**2 / load
        own = 2 * self.sine.own * power
        shared = math.hypot(2 * self.sine.scale, self.capture_data.load_uncertainty) * power
        return MeasuredValue(power, math.hypot(own, shared), own, remark=self._remark(self.sine))

    def gain(self) -> MeasuredValue:
        """Output over generator, dB: of both columns, or the stated level."""
        if isinstance(self.source, TracedSine):
            given, own = self.source.rms, self.source.own
            bench, remark = self.source.scale, self._remark(self.sine, self.source)
        else:
            given = generator_level(self.capture_data.stimulus) or 0.0
            own, bench = 0.0, self.capture_data.generator_uncertainty
            remark = self._remark(self.sine)
        if given <= 0:
            raise NotApplicable("the generator's level is unknown and was not recorded")
        estimation = DB_PER_RELATIVE * math.hypot(self.sine.own, own)
        shared = DB_PER_RELATIVE * math.hypot(self.sine.scale, bench)
        ratio = 20 * math.log10(self.sine.rms / given)
        return MeasuredValue(ratio, math.hypot(estimation, shared), estimation, remark=remark)

    def angle(self) -> tuple[float, float]:
        """Phase of the output re the generator's column, rad, and its standard uncertainty."""
        if not isinstance(self.source, TracedSine):
            raise self.source
        angle = math.remainder(self.sine.fit.phase - self.source.fit.phase, 2 * math.pi)
        return angle, math.hypot(*(_u_angle(one) for one in (self.sine, self.source)))

    def thd(self) -> tuple[MeasuredValue, int]:
        """Harmonics re the fundamental, %, and the highest; an upper bound where the instrument's
        own could make up a good part of them."""
        fit = self.sine.fit
        last = len(fit.lines)
        if last < 2:
            raise Refusal("too few samples a period for a harmonic; take a faster time base")
        noise = math.sqrt(float((fit.u_lines[1:] ** 2).sum()) / 2)
        # The converter's steps, and how far they may lie from their places.
        u = math.hypot(noise, math.sqrt(2) * rounding(self.sine.step))
        harmonics = fit.harmonics()
        whole = self.sine.rms
        if harmonics < CLEAR * u:
            most = 100 * (harmonics + ONE_SIDED * u) / whole
            return MeasuredValue(most, 0.0, bound="upper"), last
        own = 100 * u / whole
        return MeasuredValue(100 * harmonics / whole, own, own), last

    def _remark(self, *columns: TracedSine) -> str | None:
        return None if all(column.declared for column in columns) else UNDECLARED


def _u_angle(sine: TracedSine) -> float:
    return math.hypot(sine.fit.u, _moved(sine.fit.peak, sine.step)) / sine.fit.peak


@view("tone trace table", version=3)
def tone_trace(capture_data: CaptureData, number: int) -> ToneTrace:
    """The sine of a trace, and that of its generator's column where there is one."""
    stimulus, table = capture_data.stimulus, capture_data.table
    assert isinstance(stimulus, Table)
    assert stimulus.tone_hz is not None
    assert table is not None
    sine = _traced(capture_data, "voltage", stimulus.tone_hz)
    source: TracedSine | NotApplicable = NotApplicable("no column recorded the generator")
    if "generator" in table:
        source = _traced(capture_data, "generator", stimulus.tone_hz)
    return ToneTrace(capture_data, sine, source)


def _traced(capture_data: CaptureData, key: str, hz: float) -> TracedSine:
    """A column's sine. Raises Refusal where it holds none that is steady."""
    time, volts = trace_of(capture_data, key)
    fit = fit_sine(time, volts, hz, last=LAST_ORDER, mains_hz=capture_data.mains_hz)
    share = fit.peak**2 / 2 / fit.variance
    if share < LEAST_PERIODIC:
        raise Refusal(
            f"not a sine of {in_text(hz, 'Hz', 6)}: it makes up {in_text(100 * share, '%', 2)} of "
            f"the column {key!r}"
        )
    _refuse_unsteady(time, volts, fit, capture_data.mains_hz)
    step = step_of_many(volts) or float(volts.max() - volts.min()) / UNKNOWN_STEPS
    own_v = math.hypot(_moved(fit.peak, step), limits_u(capture_data, key))
    return TracedSine(
        fit, step, scale_u(capture_data, key), own_v, limits_declared(capture_data, key)
    )


def _moved(peak: float, step: float) -> float:
    """Standard uncertainty of a sine's peak by the steps of its converter.

    Without noise a converter moves the fundamental by at most about (2 q / pi) J1(2 pi A / q), the
    first term of its series, whose envelope is taken as a rectangular limit (Bessel functions:
    DLMF 10.17.3, from memory).
    """
    if step <= 0:
        return 0.0
    turns = 2 * math.pi * peak / step
    return 2 * step / math.pi * math.sqrt(2 / (math.pi * turns)) / math.sqrt(3)


def _refuse_unsteady(time: Array, volts: Array, fit: SineFit, mains_hz: float | None) -> None:
    """Raise Refusal where the sine's level changes between the halves of the trace."""
    if fit.periods < 8:
        return
    middle = len(time) // 2
    peaks = [
        fit_sine(time[part], volts[part], fit.hz, last=1, search=False, mains_hz=mains_hz).peak
        for part in (slice(0, middle), slice(middle, None))
    ]
    if min(peaks) < LEAST_STEADY * max(peaks):
        change = in_text(100 * (1 - min(peaks) / max(peaks)), "%", 2)
        raise Refusal(f"the sine's level changes by {change} within the trace")
