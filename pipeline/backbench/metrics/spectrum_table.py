"""A tone in a spectrum that an instrument gives as a table."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from backbench.documents.stimuli import Table
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declaration import CaptureData, CurveData, MeasuredValue, view
from backbench.metrics.percent_ratios import percent, percent_of_total
from backbench.metrics.table_levels import linear, undeclared, unit_of
from backbench.metrics.warnings import joined
from backbench.quantities.writing import in_text
from backbench.signal.listed_spectrum import ListedTone, listed_tone
from backbench.signal.tone import BAND_HZ, LAST_ORDER
from backbench.signal.track import Array
from backbench.signal.uncertainty import ONE_SIDED

MISSED = 0.01
"""Relative standard uncertainty of a ratio of lines by what of them a window leaves beyond the bins
that are summed: the rectangle's is the greatest (common practice, no source)."""
RATIOS = "its levels are ratios without a reference, so that none is known in volts"
SKIRTS_IN_IT = "the skirts of the instrument's window are in it"


@dataclass(frozen=True, eq=False)
class SpectrumTable:
    """A spectrum by rising frequency. rms: V, or re an unknown whole where `absolute` is false.

    tone: its lines; or why none are known. u_rel: relative standard uncertainty of a ratio.
    """

    hz: Array
    rms: Array
    absolute: bool
    tone: ListedTone | Refusal
    u_rel: float
    remark: str | None

    def lines(self) -> ListedTone:
        """The tone's. Raises Refusal where there are none."""
        if isinstance(self.tone, Refusal):
            raise self.tone
        return self.tone

    def thd(self) -> tuple[MeasuredValue, int]:
        """Root sum square of harmonics 2 to 10, %, as far as the table reaches."""
        tone = self.lines()
        last = int(tone.harmonics.orders.max(initial=1))
        if last < 3:
            reached = in_text(float(self.hz[-1]), "Hz", 4)
            raise NotApplicable(f"the table ends at {reached}, below the third harmonic")
        figure = percent(tone.harmonics.total(2, last), tone.square, math.inf)
        return self._with_own(figure), last

    def each(self) -> Iterator[MeasuredValue]:
        """Each harmonic within the table re the fundamental, %."""
        tone = self.lines()
        if not len(tone.harmonics.orders):
            raise NotApplicable("the table holds no harmonic")
        for order in tone.harmonics.orders.tolist():
            figure = percent(tone.harmonics.one(order), tone.square, math.inf)
            yield replace(self._with_own(figure), order=order)

    def thd_n(self) -> MeasuredValue:
        """All but the fundamental re all, 20 Hz to 20 kHz, %."""
        tone = self.lines()
        if tone.residual is None:
            raise NotApplicable("the table doesn't cover 20 Hz to 20 kHz")
        figure = self._with_own(percent_of_total(tone.residual, tone.square))
        if not tone.skirts:
            return figure
        most = figure.value + ONE_SIDED * figure.uncertainty
        remark = joined(figure.remark, SKIRTS_IN_IT)
        return replace(
            figure, value=most, uncertainty=0.0, estimation=0.0, bound="upper", remark=remark
        )

    def _with_own(self, figure: MeasuredValue) -> MeasuredValue:
        """With what the table's digits, the instrument and its window add."""
        if figure.bound:
            return replace(figure, remark=self.remark)
        own = math.hypot(figure.estimation, figure.value * math.hypot(self.u_rel, MISSED))
        return replace(figure, uncertainty=own, estimation=own, remark=self.remark)


@view("spectrum table", version=2)
def spectrum_table(capture_data: CaptureData, number: int) -> SpectrumTable:
    """The table by rising frequency, and the stated tone in it."""
    stimulus, table = capture_data.stimulus, capture_data.table
    assert isinstance(stimulus, Table)
    assert table is not None
    order = np.argsort(table["frequency"], kind="stable")
    hz = table["frequency"][order]
    rms, u = (part[order] for part in linear(capture_data, "level"))
    tone: ListedTone | Refusal
    try:
        if stimulus.tone_hz is None:
            raise ValueError("a spectrum without tone_hz gives no figure; its curve is kept")
        tone = listed_tone(hz, np.square(rms), stimulus.tone_hz, LAST_ORDER, BAND_HZ)
        strongest = int(np.argmax(rms))
        u_rel = math.sqrt(2) * float(u[strongest] / rms[strongest])
    except ValueError as error:
        tone, u_rel = Refusal(str(error)), 0.0
    absolute = unit_of(capture_data, "level") != "dB"
    remark = joined(undeclared(capture_data, ["level"]), None if absolute else RATIOS)
    return SpectrumTable(hz, rms, absolute, tone, u_rel, remark)


def drawn(seen: SpectrumTable) -> CurveData:
    """The spectrum in dBV. Raises NotApplicable for one of ratios."""
    if not seen.absolute:
        raise NotApplicable("the table gives ratios, no volts")
    return _in_db(seen)


def drawn_relative(seen: SpectrumTable) -> CurveData:
    """A spectrum of ratios in dB re its strongest line. Raises NotApplicable for one in volts."""
    if seen.absolute:
        raise NotApplicable("the table gives volts")
    curve = _in_db(seen)
    return replace(curve, y=curve.y - curve.y.max(initial=-math.inf))


def _in_db(seen: SpectrumTable) -> CurveData:
    kept = seen.rms > 0
    return CurveData(seen.hz[kept], 20 * np.log10(seen.rms[kept]))
