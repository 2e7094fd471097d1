"""Output source impedance and damping factor; impedance from a reduced table."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from backbench.errors import Refusal
from backbench.metrics.declaration import (
    CaptureData,
    CurveData,
    MeasuredValue,
    curve,
    derived,
    derived_curve,
    view,
)
from backbench.metrics.load_pairs import (
    COVERAGE,
    STEPPED_OR_SINGLE,
    Pair,
    best_pairs,
    ohm_of,
    swept_impedance,
    swept_ohms,
    swept_pairs,
)
from backbench.metrics.session import (
    Derived,
    DerivedCurve,
    Reading,
    RefusedDerivation,
    Session,
    grouped,
    limited,
    relative_estimation,
    relative_uncertainty,
)
from backbench.metrics.traits import Overview, Traits
from backbench.signal.impedance import Ohms
from backbench.signal.response import resolution
from backbench.signal.uncertainty import DB_PER_RELATIVE

FAMILY = "Output impedance and damping"

NOMINAL_OHM = 8.0
TAP = re.compile(r"(\d+(?:\.\d+)?)\s*ohms?")
SWEPT_HZ = (20.0, 1000.0, 20_000.0)
REGULATION_OHM = (8.0, 4.0)
SAME_LOAD = 0.05
LEAST_TONES = 5

Given = Derived | RefusedDerivation


@view("impedance table", version=1)
def impedance_table(capture_data: CaptureData, number: int) -> CurveData:
    """Magnitudes by rising frequency, with the uncertainty of their printed digits."""
    table = capture_data.table
    assert table is not None
    order = np.argsort(table["frequency"], kind="stable")
    hz, ohm = table["frequency"][order], table["magnitude"][order]
    if hz[0] <= 0 or (np.diff(hz) <= 0).any():
        raise Refusal("a frequency stands twice, or is not above 0")
    if (ohm < 0).any():
        raise Refusal("a magnitude below 0")
    return CurveData(hz, ohm, np.full(len(hz), resolution(ohm)))


@curve(
    "impedance",
    title="Impedance",
    x_unit="Hz",
    y_unit="ohm",
    stimuli=["impedance table"],
    version=1,
)
def impedance_curve(table: CurveData) -> CurveData:
    """Magnitude of impedance against frequency."""
    return table


@derived(
    "source_impedance",
    title="Output source impedance",
    unit="ohm",
    better="lower",
    source="IEC 60268-3 (output source impedance)",
    version=1,
    choice="magnitude, from the fall of the fundamental between two loads; of sweeps at 20 Hz, "
    "1 kHz and 20 kHz",
    traits=Traits(
        compared_at=("impedance-1khz",),
        position=120,
        point_family="impedance",
        captions=("impedance-over-frequency",),
    ),
)
def source_impedance(session: Session) -> Iterator[Given]:
    """Impedance of the output, from its voltages across two loads at the same drive."""
    for told in _told(session):
        if isinstance(told, RefusedDerivation):
            yield told
        else:
            ohms, like, sources, hz = told
            yield Derived(replace(_figure(ohms), frequency_hz=hz), like, sources)


@derived(
    "damping_factor",
    title="Damping factor",
    unit="1",
    better="higher",
    source="IEC 60268-3 (damping factor)",
    version=1,
    choice="nominal load over source impedance: the named tap's, else 8 ohm; cable excluded",
    traits=Traits(
        compared_at=("impedance-1khz",),
        position=130,
        loudspeaker_only=True,
        point_family="impedance",
        overview=Overview("Damping factor at 1 kHz", "impedance-1khz"),
        captions=("damping-by-technology",),
    ),
)
def damping_factor(session: Session) -> Iterator[Given]:
    """Nominal load resistance divided by the output source impedance."""
    for told in _told(session):
        if isinstance(told, RefusedDerivation):
            nominal = nominal_load(told.like.tap)
            yield replace(told, detail={"nominal load": f"{nominal:g} ohm"})
            continue
        ohms, like, sources, hz = told
        nominal, found = nominal_load(like.tap), _figure(ohms)
        factor = nominal / found.value
        figure = MeasuredValue(
            factor, factor * found.uncertainty / found.value,
            factor * found.estimation / found.value,
            bound="lower" if found.bound else None, frequency_hz=hz,
            detail={"nominal load": f"{nominal:g} ohm"},
        )  # fmt: skip
        yield Derived(figure, like, sources)


_Told = tuple[Ohms, Reading, tuple[Reading, ...], float | None]


def _told(session: Session) -> Iterator[_Told | RefusedDerivation]:
    """Impedances of tones under two loads, and of sweeps at 20 Hz, 1 kHz and 20 kHz.

    Each with the reading whose conditions it has, its sources, and a frequency of its own.
    """
    for pair in best_pairs(session):
        sources = (pair.light, pair.heavy)
        if pair.ohms is None:
            yield RefusedDerivation(pair.reason or "", pair.heavy, sources)
        else:
            yield pair.ohms, pair.heavy, sources, None
    for swept in swept_pairs(session):
        for hz in SWEPT_HZ:
            try:
                ohms = swept_ohms(swept, hz)
            except ValueError as error:
                yield RefusedDerivation(str(error), swept.gains[1], swept.sources, frequency_hz=hz)
            else:
                yield ohms, swept.gains[1], swept.sources, hz


@derived_curve(
    "source_impedance", title="Output source impedance", x_unit="Hz", y_unit="ohm", version=1
)
def source_impedance_curve(session: Session) -> Iterator[DerivedCurve]:
    """Magnitude under two loads at one drive: of sweeps, and of tones at five frequencies or more.

    Of several loads swept, the two most different.
    """
    for swept in swept_pairs(session):
        data = swept_impedance(swept)
        if len(data.x) >= 2:
            yield DerivedCurve(data, swept.gains[1], swept.sources)
    told = [pair for pair in best_pairs(session) if pair.ohms is not None]
    groups: dict[object, list[Pair]] = {}
    for pair in told:
        groups.setdefault((*_place(pair.heavy), ohm_of(pair.heavy)), []).append(pair)
    for same in groups.values():
        if len(same) >= LEAST_TONES:
            yield _curve_of_tones(sorted(same, key=lambda pair: pair.heavy.frequency_hz or 0.0))


def _curve_of_tones(pairs: list[Pair]) -> DerivedCurve:
    known = [(pair.heavy.frequency_hz or 0.0, pair.ohms) for pair in pairs if pair.ohms]
    data = CurveData(
        np.array([hz for hz, _ in known]),
        np.array([ohms.value for _, ohms in known]),
        np.array([ohms.u for _, ohms in known]),
    )
    sources = tuple(r for pair in pairs for r in (pair.light, pair.heavy))
    return DerivedCurve(data, pairs[0].heavy, sources)


@derived(
    "load_regulation",
    title="Load regulation, 8 to 4 ohm",
    unit="dB",
    better="lower",
    source="IEC 60268-3 (regulation); definition from memory",
    version=1,
    choice="20 lg of the fundamental at 8 ohm over that at 4 ohm, same drive and tap",
)
def load_regulation(session: Session) -> Iterator[Given]:
    """Fall of the output level when the load is changed from 8 to 4 ohm."""
    levels = [
        r for r in session.of("level", bound=None)
        if r.stimulus in STEPPED_OR_SINGLE and r.generator_vrms and r.driven in (None, r.output)
    ]  # fmt: skip
    for same in grouped(levels, _drive_and_place).values():
        chosen = [
            next((r for r in same if abs(ohm_of(r) / load - 1) <= SAME_LOAD), None)
            for load in REGULATION_OHM
        ]
        light, heavy = chosen
        if light is not None and heavy is not None:
            yield _regulation(session, light, heavy)


def _place(r: Reading) -> tuple[object, ...]:
    return r.unit_key, r.output, r.input, r.tap, r.volume, r.controls


def _drive_and_place(r: Reading) -> tuple[object, ...]:
    return (*_place(r), r.frequency_hz, r.generator_vrms, r.driven)


def _regulation(session: Session, light: Reading, heavy: Reading) -> Given:
    sources = (light, heavy)
    for reading in sources:
        reason = limited(session, reading)
        if reason:
            return RefusedDerivation(reason, heavy, sources)
    own = DB_PER_RELATIVE * math.hypot(*map(relative_estimation, sources))
    shared = light.calibration_key == heavy.calibration_key
    u = own if shared else DB_PER_RELATIVE * math.hypot(*map(relative_uncertainty, sources))
    value = 20 * math.log10((light.value or math.nan) / (heavy.value or math.nan))
    return Derived(MeasuredValue(value, u, own), heavy, sources)


def nominal_load(tap: str | None) -> float:
    """Ohms of a tap named as "4 ohm"; 8 where the tap tells none."""
    found = TAP.fullmatch((tap or "").strip())
    return float(found[1]) if found else NOMINAL_OHM


def _figure(ohms: Ohms) -> MeasuredValue:
    """The impedance; an upper bound where it can't be told from nothing."""
    if ohms.value >= COVERAGE * ohms.u:
        return MeasuredValue(ohms.value, ohms.u, ohms.estimation)
    most = max(ohms.value, 0.0) + COVERAGE * ohms.u
    return MeasuredValue(most, ohms.u, ohms.estimation, bound="upper")
