"""Pairs of captures that differ in their load, and the source impedance that they tell."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from backbench.metrics.declaration import CurveData
from backbench.metrics.session import (
    CurveReading,
    Reading,
    Session,
    cleanest,
    grouped,
    limited,
    relative_estimation,
    relative_uncertainty,
)
from backbench.signal.impedance import Loaded, Ohms
from backbench.signal.impedance import source_impedance as from_two_loads
from backbench.signal.uncertainty import DB_PER_RELATIVE

LEAST_LOAD_RATIO = 1.1
"""Loads nearer to each other than this are taken as one."""
COVERAGE = 2.0
STEPPED_OR_SINGLE = {"tone", "steps"}


@dataclass(frozen=True)
class Pair:
    """Two captures that differ in their load, and what they give."""

    light: Reading
    heavy: Reading
    ohms: Ohms | None
    reason: str | None


def best_pairs(session: Session) -> Iterator[Pair]:
    """For each output, frequency, tap, input and volume, the pair that tells it best."""
    levels = [
        r for r in session.of("level", bound=None)
        if r.stimulus in STEPPED_OR_SINGLE and r.load_kind is not None and r.value
        and r.driven in (None, r.output)
    ]  # fmt: skip
    for same in grouped(levels, _place).values():
        if len({ohm_of(r) for r in same}) > 1:
            yield _best(session, same)


def _place(r: Reading) -> tuple[object, ...]:
    return r.unit_key, r.output, r.frequency_hz, r.input, r.tap, r.volume, r.controls


def _drive(r: Reading) -> tuple[object, ...]:
    return r.generator_vrms, r.driven


def _best(session: Session, same: list[Reading]) -> Pair:
    """Raises nothing: where no pair gives a number, a pair with the reason."""
    lightest_first = sorted(same, key=lambda r: (-ohm_of(r), r.generator_vrms or 0.0))
    alike = [
        (a, b) for a, b in combinations(lightest_first, 2)
        if _drive(a) == _drive(b) and a.generator_vrms is not None
        and ohm_of(a) >= LEAST_LOAD_RATIO * ohm_of(b)
    ]  # fmt: skip
    if not alike:
        light, heavy = lightest_first[0], lightest_first[-1]
        reason = "no two loads at the same stated generator level"
        return Pair(light, heavy, None, reason)
    pairs = [_pair(session, light, heavy) for light, heavy in alike]
    good = [(pair, pair.ohms.u) for pair in pairs if pair.ohms is not None]
    if not good:
        return pairs[0]
    return good[cleanest(session, [((p.light, p.heavy), u) for p, u in good])][0]


def _pair(session: Session, light: Reading, heavy: Reading) -> Pair:
    for reading in (light, heavy):
        reason = limited(session, reading)
        if reason:
            return Pair(light, heavy, None, reason)
    shared = light.calibration_key == heavy.calibration_key
    try:
        ohms = from_two_loads(_loaded(light, shared), _loaded(heavy, shared))
    except ValueError as error:
        return Pair(light, heavy, None, str(error))
    if ohms.value < -(COVERAGE + 1) * ohms.u:
        rise = 100 * (_volts(heavy) / _volts(light) - 1)
        reason = f"the voltage rises by {rise:.2g} % under the heavier load"
        return Pair(light, heavy, None, reason)
    return Pair(light, heavy, ohms, None)


def _loaded(reading: Reading, shared: bool) -> Loaded:
    """A calibration that both captures have cancels in their ratio."""
    own = relative_estimation(reading) if shared else relative_uncertainty(reading)
    return Loaded(_volts(reading), own, ohm_of(reading), reading.load_uncertainty or 0.0)


def ohm_of(reading: Reading) -> float:
    """The load in ohm, infinite where the output was open."""
    return math.inf if reading.load_kind == "open" else reading.load_ohm or math.inf


def _volts(reading: Reading) -> float:
    return reading.value or math.nan


@dataclass(frozen=True, eq=False)
class SweptPair:
    """Swept responses of one output under two loads at one drive, with their gains at 1 kHz."""

    light: CurveReading
    heavy: CurveReading
    gains: tuple[Reading, Reading]

    @property
    def sources(self) -> tuple[Reading, ...]:
        """What an impedance of the pair is made from."""
        return self.gains


def swept_pairs(session: Session) -> Iterator[SweptPair]:
    """The two most different loads of each output that was swept under several at one drive."""
    swept = [
        c for c in session.curves
        if c.like.stimulus == "sweep" and c.like.load_kind and c.like.generator_vrms
    ]  # fmt: skip
    groups: dict[object, list[CurveReading]] = {}
    for curve in swept:
        r = curve.like
        place = (r.unit_key, r.output, r.input, r.tap, r.volume, r.controls, *_drive(r))
        groups.setdefault(place, []).append(curve)
    for same in groups.values():
        ordered = sorted(same, key=lambda c: -ohm_of(c.like))
        light, heavy = ordered[0], ordered[-1]
        gains = tuple(g for c in (light, heavy) for g in _gain_of(session, c.like)[:1])
        if ohm_of(light.like) >= LEAST_LOAD_RATIO * ohm_of(heavy.like) and len(gains) == 2:
            yield SweptPair(light, heavy, (gains[0], gains[1]))


def _gain_of(session: Session, like: Reading) -> list[Reading]:
    return session.of("gain", analysis_key=like.analysis_key, unit_key=like.unit_key,
                      output=like.output)  # fmt: skip


def swept_impedance(pair: SweptPair) -> CurveData:
    """Source impedance against frequency, in ohm; frequencies that tell none are left out."""
    light, heavy = pair.light.data, pair.heavy.data
    inside = (light.x >= heavy.x[0] * (1 - 1e-9)) & (light.x <= heavy.x[-1] * (1 + 1e-9))
    hz = light.x[inside]
    shared = pair.gains[0].calibration_key == pair.gains[1].calibration_key
    rows = []
    for x in hz:
        loaded = [
            _at(curve, gain, float(x), shared)
            for curve, gain in zip((pair.light, pair.heavy), pair.gains, strict=True)
        ]
        try:
            found = from_two_loads(loaded[0], loaded[1])
        except ValueError:
            continue
        rows.append((float(x), found.value, found.u))
    columns = np.array(rows, dtype=np.float64).reshape(-1, 3)
    return CurveData(columns[:, 0], columns[:, 1], columns[:, 2])


def swept_ohms(pair: SweptPair, hz: float) -> Ohms:
    """The same at one frequency. Raises ValueError where it lies outside or tells none."""
    shared = pair.gains[0].calibration_key == pair.gains[1].calibration_key
    loaded = [
        _at(curve, gain, hz, shared)
        for curve, gain in zip((pair.light, pair.heavy), pair.gains, strict=True)
    ]
    return from_two_loads(loaded[0], loaded[1])


def _at(curve: CurveReading, gain: Reading, hz: float, shared: bool) -> Loaded:
    """Output over input at a frequency, as the voltage of a drive of 1 V."""
    x, data = np.log(curve.data.x), curve.data
    if not data.x[0] * (1 - 1e-6) <= hz <= data.x[-1] * (1 + 1e-6):
        raise ValueError(f"{hz:g} Hz wasn't swept under both loads")
    db = float(np.interp(np.log(hz), x, data.y)) + (gain.value or 0.0)
    u = 0.0 if data.uncertainty is None else float(np.interp(np.log(hz), x, data.uncertainty))
    level = (gain.estimation if shared else gain.uncertainty) or 0.0
    like = curve.like
    return Loaded(
        10 ** (db / 20), math.hypot(u, level) / DB_PER_RELATIVE, ohm_of(like),
        like.load_uncertainty or 0.0,
    )  # fmt: skip
