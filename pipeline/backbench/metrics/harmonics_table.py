"""Harmonics of a tone that an instrument gives in a table, a row each."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from backbench.documents.stimuli import Table, generator_level
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declaration import CaptureData, MeasuredValue, view
from backbench.metrics.table_levels import Amount, linear, undeclared, unit_of
from backbench.quantities.writing import in_text
from backbench.signal.tone import LAST_ORDER
from backbench.signal.track import Array
from backbench.signal.uncertainty import DB_PER_RELATIVE

OFF_HARMONIC = 0.01
"""How far a row's frequency may be from a multiple of the tone, in multiples: common practice, no
source."""


@dataclass(frozen=True, eq=False)
class HarmonicsTable:
    """A tone's harmonics. percent: each re the fundamental, by order from 2.

    volts: of the fundamental; why it isn't known where the table is of ratios.
    """

    capture_data: CaptureData
    percent: dict[int, Amount]
    volts: Amount | NotApplicable
    remark: str | None
    detail: dict[str, str] = field(default_factory=dict)

    def level(self) -> MeasuredValue:
        """Rms of the fundamental, V."""
        return self._volts().figure(self.remark)

    def power(self) -> MeasuredValue:
        """Of the fundamental in the stated resistor, W."""
        volts, ohm = self._volts(), self.capture_data.conditions.load_resistance
        if ohm is None:
            raise NotApplicable("no resistor was connected as a load")
        power = volts.value**2 / ohm
        own = 2 * power * volts.u / volts.value
        u = math.hypot(own, power * self.capture_data.load_uncertainty)
        return MeasuredValue(power, u, own, remark=self.remark)

    def gain(self) -> MeasuredValue:
        """Fundamental over the generator's stated level, dB."""
        volts, given = self._volts(), generator_level(self.capture_data.stimulus)
        if given is None:
            raise NotApplicable("the generator's level is unknown and was not recorded")
        own = DB_PER_RELATIVE * volts.u / volts.value
        shared = DB_PER_RELATIVE * self.capture_data.generator_uncertainty
        ratio = 20 * math.log10(volts.value / given)
        return MeasuredValue(ratio, math.hypot(own, shared), own, remark=self.remark)

    def thd(self) -> tuple[MeasuredValue, int]:
        """Root sum square of harmonics 2 to 10, %, as far as the table has them without a gap."""
        last = 1
        while last < LAST_ORDER and last + 1 in self.percent:
            last += 1
        if last < 2:
            raise NotApplicable("the table lacks the second harmonic")
        if last < 3:
            raise NotApplicable("the table lacks the third harmonic")
        parts = [self.percent[order] for order in range(2, last + 1)]
        total = math.sqrt(math.fsum(part.value**2 for part in parts))
        u = math.sqrt(math.fsum((part.value * part.u) ** 2 for part in parts)) / (total or 1.0)
        least = math.sqrt(math.fsum(part.u**2 for part in parts))
        return Amount(total, u if total > 2 * least else least).figure(self.remark), last

    def each(self) -> Iterator[MeasuredValue]:
        """Harmonics up to the tenth re the fundamental, %. Raises NotApplicable where none is."""
        orders = [order for order in self.percent if order <= LAST_ORDER]
        if not orders:
            raise NotApplicable("the table has no harmonic from the second to the tenth")
        for order in orders:
            value = self.percent[order]
            if value.value > 0 or value.u > 0:
                yield replace(value.figure(self.remark), order=order)

    def _volts(self) -> Amount:
        if isinstance(self.volts, NotApplicable):
            raise self.volts
        return self.volts


@view("harmonics table", version=2)
def harmonics_table(capture_data: CaptureData, number: int) -> HarmonicsTable:
    """Each row re the fundamental. Raises Refusal where the fundamental isn't among volts."""
    orders = _orders(capture_data)
    values, u = linear(capture_data, "level")
    known = {int(order): Amount(float(v), float(spread))
             for order, v, spread in zip(orders, values, u, strict=True)}  # fmt: skip
    whole = known.pop(1, None)
    relative = unit_of(capture_data, "level") in {"dB", "%"}
    if whole is None and not relative:
        raise Refusal("the fundamental is not among the rows, so nothing is known re it")
    if whole is not None and whole.value <= 2 * whole.u:
        raise Refusal("the fundamental is no greater than its uncertainty")
    base = whole or Amount(100.0, 0.0)
    percent = {
        order: Amount(100 * one.value / base.value, 100 * _u_ratio(one, base))
        for order, one in sorted(known.items()) if order > 1
    }  # fmt: skip
    volts = NotApplicable("the table gives ratios, no volts") if relative else base
    return HarmonicsTable(capture_data, percent, volts, undeclared(capture_data, ["level"]))


def _u_ratio(one: Amount, base: Amount) -> float:
    """Standard uncertainty of one over base."""
    return math.hypot(one.u, one.value * base.u / base.value) / base.value


def _orders(capture_data: CaptureData) -> Array:
    """The order of each row: of its column, or of its frequency."""
    stimulus, table = capture_data.stimulus, capture_data.table
    assert isinstance(stimulus, Table)
    assert table is not None
    if "order" in table:
        orders = table["order"]
        named = "order"
    else:
        assert stimulus.tone_hz is not None
        orders, named = table["frequency"] / stimulus.tone_hz, "frequency"
    near = np.rint(orders)
    odd = (np.abs(orders - near) > OFF_HARMONIC * np.maximum(near, 1)) | (near < 1)
    if odd.any():
        first = float(table[named][int(np.argmax(odd))])
        what = in_text(first, "Hz", 6) if named == "frequency" else in_text(first, "1", 6)
        raise Refusal(f"{what} is no multiple of the stated tone")
    if len(np.unique(near)) < len(near):
        raise Refusal("a harmonic stands twice")
    return np.asarray(near)
