"""Distortion that an instrument gives in a table, over frequency or over power."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from backbench.documents.stimuli import Table, generator_level
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declaration import (
    CaptureData,
    CurveData,
    MeasuredValue,
    curve,
    view,
)
from backbench.metrics.level_part import LevelPart
from backbench.metrics.table_levels import Amount, rising, undeclared, unit_of, values_of
from backbench.metrics.warnings import joined
from backbench.quantities.counts import counted
from backbench.quantities.writing import in_text
from backbench.signal.tone import BAND_HZ, LAST_ORDER
from backbench.signal.uncertainty import DB_PER_RELATIVE, ONE_SIDED

FAMILY = "Harmonic distortion"
TABLES = ["distortion table"]
MOST_ROWS = 2000
"""Each row is measured like a capture of its own."""
AS_COUNTED = "as the instrument counted it: its harmonics, band and detector aren't known here"
BY_NOISE = "no more than the instrument's THD+N, which holds harmonics 2 to 10 up to 20 kHz"


@dataclass(frozen=True, eq=False)
class DistortionRow:
    """One row. volts, watts, given: at the output and of the generator; None where unknown.

    thd, thd_n: in percent. load_u: relative standard uncertainty of the load, ohm. detail: what
    tells the row from others where neither power nor drive does.
    """

    hz: float
    volts: Amount | None
    watts: Amount | None
    given: Amount | None
    distortion: Amount | None
    distortion_and_noise: Amount | None
    ohm: float | None
    load_u: float
    remark: str | None
    detail: dict[str, str]

    def level(self) -> MeasuredValue:
        """Rms of the output, V, or what the power in the load says of it."""
        if self.volts is not None:
            return self._of_row(self.volts.figure(self.remark))
        if self.watts is None or self.ohm is None:
            raise NotApplicable("the table has no column of the output's level")
        volts = math.sqrt(self.watts.value * self.ohm)
        own = volts * self.watts.u / self.watts.value / 2
        u = math.hypot(own, volts * self.load_u / 2)
        return self._of_row(MeasuredValue(volts, u, own, remark=self.remark))

    def power(self) -> MeasuredValue:
        """Of the row's column, or of its voltage in the stated resistor, W."""
        if self.watts is not None:
            return self._of_row(self.watts.figure(self.remark))
        if self.volts is None:
            raise NotApplicable("the table has no column of power or level")
        if self.ohm is None:
            raise NotApplicable("no resistor was connected as a load")
        power = self.volts.value**2 / self.ohm
        own = 2 * power * self.volts.u / self.volts.value
        return self._of_row(
            MeasuredValue(power, math.hypot(own, power * self.load_u), own, remark=self.remark)
        )

    def gain(self) -> MeasuredValue:
        """Output over the generator's column, dB."""
        if self.given is None or self.volts is None:
            raise NotApplicable("the table has no columns of the output's and generator's level")
        own = DB_PER_RELATIVE * math.hypot(
            self.volts.u / self.volts.value, self.given.u / self.given.value
        )
        ratio = 20 * math.log10(self.volts.value / self.given.value)
        return self._of_row(MeasuredValue(ratio, own, own, remark=self.remark))

    def thd(self) -> tuple[MeasuredValue, int]:
        """The instrument's, %; a bound by its THD+N where it gives no other."""
        if self.distortion is not None:
            figure = self.distortion.figure(joined(AS_COUNTED, self.remark))
            return self._of_row(figure), LAST_ORDER
        if LAST_ORDER * self.hz > BAND_HZ[1] * (1 + 1e-9):
            reason = "the table gives THD+N only, whose band leaves out harmonics up to the tenth"
            raise NotApplicable(reason)
        known = self.thd_n()
        most = known.value + ONE_SIDED * known.uncertainty
        return self._of_row(MeasuredValue(most, 0.0, bound="upper", remark=BY_NOISE)), LAST_ORDER

    def thd_n(self) -> MeasuredValue:
        """The instrument's, %."""
        if self.distortion_and_noise is None:
            raise NotApplicable("the table has no column of THD+N")
        return self._of_row(self.distortion_and_noise.figure(joined(AS_COUNTED, self.remark)))

    def _of_row(self, figure: MeasuredValue) -> MeasuredValue:
        return replace(figure, frequency_hz=self.hz, detail=self.detail)


@dataclass(frozen=True, eq=False)
class DistortionTable:
    """The rows of a table; stated_w: the power of all of them where no column tells it."""

    rows: list[DistortionRow]
    stated_w: float | None

    def __iter__(self) -> Iterator[LevelPart]:
        for number, row in enumerate(self.rows, start=1):
            drive = None if row.given is None else row.given.value
            yield LevelPart(row, drive, self.stated_w, number)

    @cached_property
    def percent(self) -> list[Amount]:
        """THD of each row, or THD+N where the table has no THD, in percent."""
        both = [row.distortion or row.distortion_and_noise for row in self.rows]
        return [value for value in both if value is not None]

    def drawn(self, x: list[float]) -> CurveData:
        """Its distortion over something of its rows."""
        values = np.array(x)
        order = rising(values)
        y, u = np.array([tuple(value) for value in self.percent])[order].T
        return CurveData(values[order], y, u)


@view("distortion table", version=2, parts="distortion table")
def distortion_table(capture_data: CaptureData, number: int) -> DistortionTable:
    """Each row as a tone of its own, in the order of the table."""
    stimulus, table = capture_data.stimulus, capture_data.table
    assert isinstance(stimulus, Table)
    assert table is not None
    height = len(next(iter(table.values())))
    if height > MOST_ROWS:
        raise Refusal(f"{counted(height, 'row')}, more than {MOST_ROWS}; keep those that matter")
    _refuse_positive(capture_data)
    columns = {
        key: values_of(capture_data, key)
        for key in ("frequency", "level", "power", "generator", "thd", "thd_n")
    }
    keys = [key for key in ("level", "power", "generator", "thd", "thd_n") if key in table]
    remark = undeclared(capture_data, keys)
    told_apart = _told_apart(columns, stimulus)
    rows = []
    for n in range(height):
        row = {key: None if column is None else column[n] for key, column in columns.items()}
        hz = row["frequency"].value if row["frequency"] else stimulus.tone_hz or 0.0
        level = row["level"]
        detail = {"level": in_text(level.value, "V")} if level and not told_apart else {}
        rows.append(DistortionRow(
            hz=hz, volts=level, watts=row["power"], given=row["generator"] or _stated(stimulus),
            distortion=row["thd"], distortion_and_noise=row["thd_n"],
            ohm=capture_data.conditions.load_resistance, load_u=capture_data.load_uncertainty,
            remark=remark, detail=detail,
        ))  # fmt: skip
    return DistortionTable(rows, capture_data.conditions.power_w)


def _stated(stimulus: Table) -> Amount | None:
    level = generator_level(stimulus)
    return None if level is None else Amount(level, 0.0)


def _told_apart(columns: dict[str, list[Amount] | None], stimulus: Table) -> bool:
    """Whether no two rows share frequency, power and drive."""
    height = max(len(column) for column in columns.values() if column)
    known = [columns[key] or [Amount(0.0, 0.0)] * height
             for key in ("frequency", "power", "generator")]  # fmt: skip
    places = Counter(tuple(value.value for value in row) for row in zip(*known, strict=True))
    return max(places.values()) == 1


def _refuse_positive(capture_data: CaptureData) -> None:
    table = capture_data.table
    assert table is not None
    for key in ("thd", "thd_n"):
        if unit_of(capture_data, key) == "dB" and (table[key] > 0).any():
            raise Refusal("a distortion is above 0 dB; state it in dB re the tone, below 0")


@curve(
    "distortion_over_frequency", title="Distortion over frequency, as an instrument counted it",
    x_unit="Hz", y_unit="%", stimuli=TABLES, version=1,
)  # fmt: skip
def distortion_over_frequency(seen: DistortionTable) -> CurveData:
    """THD, or else THD+N, of a table against frequency."""
    x = [row.hz for row in seen.rows]
    if len({*x}) < len(x) or len(x) < 2:
        raise NotApplicable("a frequency stands in several rows")
    return seen.drawn(x)


@curve(
    "distortion_over_power", title="Distortion over power, as an instrument counted it",
    x_unit="W", y_unit="%", stimuli=TABLES, version=1,
)  # fmt: skip
def distortion_over_power(seen: DistortionTable) -> CurveData:
    """THD, or else THD+N, of a table of one frequency against power."""
    if len({row.hz for row in seen.rows}) > 1 or len(seen.rows) < 2:
        raise NotApplicable("not a table of one frequency at several powers")
    return seen.drawn([row.power().value for row in seen.rows])
