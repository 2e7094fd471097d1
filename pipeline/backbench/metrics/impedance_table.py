"""Impedance from an already reduced table: magnitude, phase, minimum."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declaration import CaptureData, CurveData, MeasuredValue, curve, metric, view
from backbench.metrics.table_uncertainty import column_u
from backbench.metrics.traits import Traits
from backbench.signal.track import Array

FAMILY = "Output impedance and damping"

TABLES = ["impedance table"]
USUAL_HZ = (20.0, 100.0, 1000.0, 10_000.0, 20_000.0)
_SOURCE = "common practice, no source"
_BETWEEN = (
    "at 20 Hz, 100 Hz, 1 kHz, 10 kHz and 20 kHz, as far as the table reaches; between its rows "
    "straight over the logarithm of frequency, what the curve may bend there in the uncertainty"
)


@dataclass(frozen=True, eq=False)
class ImpedanceView:
    """Rows by rising frequency: magnitude in ohm, phase in degrees (None where the table has none),
    each with its standard uncertainty."""

    hz: Array
    ohm: Array
    ohm_u: Array
    degrees: Array | None
    degrees_u: Array

    def at(self, hz: float, values: Array, u: Array) -> tuple[float, float]:
        """A column at a frequency within the table, and its standard uncertainty."""
        x, wanted = np.log(self.hz), math.log(hz)
        value = float(np.interp(wanted, x, values))
        i = int(np.clip(np.searchsorted(x, wanted), 1, len(x) - 1))
        on_row = min(abs(wanted - x[i - 1]), abs(wanted - x[i])) < 1e-6
        bent = 0.0 if on_row else abs(float(values[i] - values[i - 1])) / math.sqrt(12)
        return value, math.hypot(float(np.interp(wanted, x, u)), bent)

    def covered(self) -> list[float]:
        """The usual frequencies within the table. Raises NotApplicable where there is none."""
        inside = [hz for hz in USUAL_HZ if self.hz[0] * 0.999 <= hz <= self.hz[-1] * 1.001]
        if not inside or len(self.hz) < 2:
            raise NotApplicable("the table holds none of the usual frequencies")
        return inside


@view("impedance table", version=4)
def impedance_table(capture_data: CaptureData, number: int) -> ImpedanceView:
    """Rows by rising frequency, with the uncertainty of their digits and of the instrument."""
    table = capture_data.table
    assert table is not None
    order = np.argsort(table["frequency"], kind="stable")
    hz, ohm = table["frequency"][order], table["magnitude"][order]
    if hz[0] <= 0 or (np.diff(hz) <= 0).any():
        raise Refusal("a frequency stands twice, or is not above 0")
    if (ohm < 0).any():
        raise Refusal("a magnitude below 0")
    degrees, degrees_u = None, np.zeros(len(hz))
    if "phase" in table:
        degrees = np.degrees(np.unwrap(np.radians(table["phase"][order])))
        degrees_u = column_u(capture_data, "phase")[order]
    return ImpedanceView(hz, ohm, column_u(capture_data, "magnitude")[order], degrees, degrees_u)


@metric(
    "impedance_at", title="Impedance", unit="ohm", better="neither", source=_SOURCE,
    stimuli=TABLES, version=1, choice=_BETWEEN, traits=Traits(sheet="left out"),
)  # fmt: skip
def impedance_at(seen: ImpedanceView) -> Iterator[MeasuredValue]:
    """Magnitude of a table's impedance at a frequency."""
    for hz in seen.covered():
        value, u = seen.at(hz, seen.ohm, seen.ohm_u)
        yield MeasuredValue(value, u, u, frequency_hz=hz)


@metric(
    "impedance_phase_at", title="Phase of the impedance", unit="deg", better="neither",
    source=_SOURCE, stimuli=TABLES, version=1, choice=_BETWEEN, traits=Traits(sheet="left out"),
)  # fmt: skip
def impedance_phase_at(seen: ImpedanceView) -> Iterator[MeasuredValue]:
    """Phase of a table's impedance at a frequency."""
    if seen.degrees is None:
        raise NotApplicable("the table has no phase")
    for hz in seen.covered():
        value, u = seen.at(hz, seen.degrees, seen.degrees_u)
        yield MeasuredValue(math.remainder(value, 360.0), u, u, frequency_hz=hz)


@metric(
    "impedance_minimum", title="Least impedance", unit="ohm", better="neither", source=_SOURCE,
    stimuli=TABLES, version=1,
    choice="least magnitude of the table's rows; an upper bound where it stands in the first or "
    "the last of them, beyond which it may be less",
    traits=Traits(sheet="left out"),
)  # fmt: skip
def impedance_minimum(seen: ImpedanceView) -> MeasuredValue:
    """Least magnitude of a table's impedance, and its frequency."""
    k = int(np.argmin(seen.ohm))
    u, end = float(seen.ohm_u[k]), k in (0, len(seen.ohm) - 1)
    return MeasuredValue(
        float(seen.ohm[k]), u, u, frequency_hz=float(seen.hz[k]), bound="upper" if end else None
    )


@curve(
    "impedance", title="Impedance", x_unit="Hz", y_unit="ohm", stimuli=TABLES, version=1
)  # fmt: skip
def impedance_curve(seen: ImpedanceView) -> CurveData:
    """Magnitude of impedance against frequency."""
    return CurveData(seen.hz, seen.ohm, seen.ohm_u)


@curve(
    "impedance_phase", title="Phase of the impedance", x_unit="Hz", y_unit="deg", stimuli=TABLES,
    version=1,
)  # fmt: skip
def impedance_phase_curve(seen: ImpedanceView) -> CurveData:
    """Phase of impedance against frequency."""
    if seen.degrees is None:
        raise NotApplicable("the table has no phase")
    return CurveData(seen.hz, seen.degrees, seen.degrees_u)
