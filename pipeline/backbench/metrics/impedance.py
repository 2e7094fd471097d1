"""Output source impedance and damping factor; impedance from a reduced table."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from backbench.errors import Refusal
from backbench.metrics.across import (
    Derived,
    Reading,
    RefusedDerivation,
    Session,
    cleanest,
    grouped,
    limited,
    relative_estimation,
    relative_uncertainty,
)
from backbench.metrics.declare import CurveData, Figure, Material, curve, derived, view
from backbench.signal.impedance import Loaded, Ohms
from backbench.signal.impedance import source_impedance as from_two_loads
from backbench.signal.response import resolution

LEAST_LOAD_RATIO = 1.1
"""Loads nearer to each other than this are taken as one."""
COVERAGE = 2.0
NOMINAL_OHM = 8.0
TAP = re.compile(r"(\d+(?:\.\d+)?)\s*ohms?")

Given = Derived | RefusedDerivation


@dataclass(frozen=True)
class _Pair:
    """Two captures that differ in their load, and what they give."""

    light: Reading
    heavy: Reading
    ohms: Ohms | None
    reason: str | None


@view("impedance table", version=1)
def impedance_table(material: Material, number: int) -> CurveData:
    """Magnitudes by rising frequency, with the uncertainty of their printed digits."""
    table = material.table
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
    choice="magnitude, from the fall of the fundamental between two loads",
)
def source_impedance(session: Session) -> Iterator[Given]:
    """Impedance of the output, from its voltages across two loads at the same drive."""
    for pair in best_pairs(session):
        sources = (pair.light, pair.heavy)
        if pair.ohms is None:
            yield RefusedDerivation(pair.reason or "", pair.heavy, sources)
        else:
            yield Derived(_figure(pair.ohms), pair.heavy, sources)


@derived(
    "damping_factor",
    title="Damping factor",
    unit="1",
    better="higher",
    source="IEC 60268-3 (damping factor)",
    version=1,
    choice="nominal load over source impedance: the named tap's, else 8 ohm; cable excluded",
)
def damping_factor(session: Session) -> Iterator[Given]:
    """Nominal load resistance divided by the output source impedance."""
    for pair in best_pairs(session):
        sources = (pair.light, pair.heavy)
        nominal = nominal_load(pair.heavy.tap)
        detail = {"nominal load": f"{nominal:g} ohm"}
        if pair.ohms is None:
            yield RefusedDerivation(pair.reason or "", pair.heavy, sources, detail=detail)
            continue
        ohms = _figure(pair.ohms)
        factor = nominal / ohms.value
        figure = Figure(
            factor, factor * ohms.uncertainty / ohms.value, factor * ohms.estimation / ohms.value,
            bound="lower" if ohms.bound else None, detail=detail,
        )  # fmt: skip
        yield Derived(figure, pair.heavy, sources)


def nominal_load(tap: str | None) -> float:
    """Ohms of a tap named as "4 ohm"; 8 where the tap tells none."""
    found = TAP.fullmatch((tap or "").strip())
    return float(found[1]) if found else NOMINAL_OHM


def _figure(ohms: Ohms) -> Figure:
    """The impedance; an upper bound where it can't be told from nothing."""
    if ohms.value >= COVERAGE * ohms.u:
        return Figure(ohms.value, ohms.u, ohms.estimation)
    most = max(ohms.value, 0.0) + COVERAGE * ohms.u
    return Figure(most, ohms.u, ohms.estimation, bound="upper")


def best_pairs(session: Session) -> Iterator[_Pair]:
    """For each output, frequency, tap, input and volume, the pair that tells it best."""
    levels = [
        r for r in session.of("level", stimulus="tone", bound=None)
        if r.load_kind is not None and r.value and r.driven in (None, r.output)
    ]  # fmt: skip
    for same in grouped(levels, _place).values():
        if len({_ohm(r) for r in same}) > 1:
            yield _best(session, same)


def _place(r: Reading) -> tuple[object, ...]:
    return r.unit_key, r.output, r.frequency_hz, r.input, r.tap, r.volume


def _drive(r: Reading) -> tuple[object, ...]:
    return r.generator_vrms, r.driven


def _best(session: Session, same: list[Reading]) -> _Pair:
    """Raises nothing: where no pair gives a number, a pair with the reason."""
    lightest_first = sorted(same, key=lambda r: (-_ohm(r), r.generator_vrms or 0.0))
    alike = [
        (a, b) for a, b in combinations(lightest_first, 2)
        if _drive(a) == _drive(b) and a.generator_vrms is not None
        and _ohm(a) >= LEAST_LOAD_RATIO * _ohm(b)
    ]  # fmt: skip
    if not alike:
        light, heavy = lightest_first[0], lightest_first[-1]
        reason = "no two loads at the same stated generator level"
        return _Pair(light, heavy, None, reason)
    pairs = [_pair(session, light, heavy) for light, heavy in alike]
    good = [(pair, pair.ohms.u) for pair in pairs if pair.ohms is not None]
    if not good:
        return pairs[0]
    return good[cleanest(session, [((p.light, p.heavy), u) for p, u in good])][0]


def _pair(session: Session, light: Reading, heavy: Reading) -> _Pair:
    for reading in (light, heavy):
        reason = limited(session, reading)
        if reason:
            return _Pair(light, heavy, None, reason)
    shared = light.calibration_key == heavy.calibration_key
    try:
        ohms = from_two_loads(_loaded(light, shared), _loaded(heavy, shared))
    except ValueError as error:
        return _Pair(light, heavy, None, str(error))
    if ohms.value < -(COVERAGE + 1) * ohms.u:
        rise = 100 * (_volts(heavy) / _volts(light) - 1)
        reason = f"the voltage rises by {rise:.2g} % under the heavier load"
        return _Pair(light, heavy, None, reason)
    return _Pair(light, heavy, ohms, None)


def _loaded(reading: Reading, shared: bool) -> Loaded:
    """A calibration that both captures have cancels in their ratio."""
    own = relative_estimation(reading) if shared else relative_uncertainty(reading)
    return Loaded(_volts(reading), own, _ohm(reading), reading.load_uncertainty or 0.0)


def _ohm(reading: Reading) -> float:
    return math.inf if reading.load_kind == "open" else reading.load_ohm or math.inf


def _volts(reading: Reading) -> float:
    return reading.value or math.nan
