"""Swept responses that differ in their load, and the source impedance over frequency."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from backbench.metrics.load_pairs import allowed_by, drive_of, far_apart, ohm_of
from backbench.metrics.session import CurveReading, Reading, Session, grouped
from backbench.quantities.writing import in_text
from backbench.signal.impedance import (
    ComplexOhms,
    Loaded,
    Ohms,
    Phasor,
    complex_impedance,
    regulation_resistance,
)
from backbench.signal.uncertainty import DB_PER_RELATIVE

TABLE = "response table"
"""Its phase is that of the output re the input as it stands: nothing was taken off."""
SWEPT = {"sweep", TABLE}


@dataclass(frozen=True, eq=False)
class SweptPair:
    """Swept responses of one output under two loads at one drive, with their gains at 1 kHz.

    phases, arrivals: of the two, where both recorded the generator; else empty. Tables have no
        arrivals.
    """

    light: CurveReading
    heavy: CurveReading
    gains: tuple[Reading, Reading]
    phases: tuple[CurveReading, ...] = ()
    arrivals: tuple[Reading, ...] = ()

    @property
    def sources(self) -> tuple[Reading, ...]:
        """What an impedance of the pair is made from."""
        return self.gains + self.arrivals

    @property
    def has_phase(self) -> bool:
        """Whether output and input were recorded together under both loads."""
        known = self.light.like.stimulus == TABLE or len(self.arrivals) == 2
        return known and len(self.phases) == 2


def swept_pairs(session: Session) -> Iterator[SweptPair]:
    """The two most different loads of each output that was swept under several at one drive."""
    swept = [
        c for c in session.curves
        if c.like.stimulus in SWEPT and c.like.load_kind
        and (c.like.generator_vrms or c.like.stimulus == TABLE)
    ]  # fmt: skip
    for same in grouped(swept, _place).values():
        ordered = sorted(same, key=lambda c: -ohm_of(c.like))
        light, heavy = ordered[0], ordered[-1]
        both = (light.like, heavy.like)
        gains = tuple(g for r in both for g in _of(session, "gain", r)[:1])
        if far_apart(light.like, heavy.like) and len(gains) == 2:
            arrivals = tuple(a for r in both for a in _of(session, "sweep_arrival", r)[:1])
            phases = tuple(p for r in both for p in _phases(session, r)[:1])
            yield SweptPair(light, heavy, (gains[0], gains[1]), phases, arrivals)


def _place(curve: CurveReading) -> tuple[object, ...]:
    r = curve.like
    place = (r.stimulus, r.unit_key, r.output, r.input, r.tap, r.volume, r.controls)
    return *place, *drive_of(r)


def _of(session: Session, metric: str, like: Reading) -> list[Reading]:
    return session.of(metric, analysis_key=like.analysis_key, unit_key=like.unit_key,
                      output=like.output)  # fmt: skip


def _phases(session: Session, like: Reading) -> list[CurveReading]:
    same = ("analysis_key", "unit_key", "output")
    return [c for c in session.phases if all(getattr(c.like, n) == getattr(like, n) for n in same)]


@dataclass(frozen=True)
class SweptPoint:
    """What two loads give at one frequency. whole: None without phase. allowed: as of Pair."""

    hz: float
    ohms: Ohms
    whole: ComplexOhms | None
    allowed: tuple[float, float]


def swept_over(pair: SweptPair) -> list[SweptPoint]:
    """What every frequency of both sweeps gives; frequencies that give nothing are left out."""
    light, heavy = pair.light.data, pair.heavy.data
    inside = (light.x >= heavy.x[0] * (1 - 1e-9)) & (light.x <= heavy.x[-1] * (1 + 1e-9))
    points = []
    for hz in light.x[inside]:
        try:
            points.append(swept_at(pair, float(hz)))
        except ValueError:
            continue
    return points


def swept_at(pair: SweptPair, hz: float) -> SweptPoint:
    """The same at one frequency. Raises ValueError where it lies outside or gives nothing."""
    shared = pair.gains[0].calibration_key == pair.gains[1].calibration_key
    light, heavy = (
        _loaded(curve, gain, hz, shared)
        for curve, gain in zip((pair.light, pair.heavy), pair.gains, strict=True)
    )
    ohms, whole = regulation_resistance(light, heavy), None
    if pair.has_phase:
        late = [arrival.value or 0.0 for arrival in pair.arrivals] or [0.0, 0.0]
        phasors = [
            _turned(loaded, phase, late_s, hz)
            for loaded, phase, late_s in zip((light, heavy), pair.phases, late, strict=True)
        ]
        whole = complex_impedance(phasors[0], phasors[1])
    return SweptPoint(hz, ohms, whole, allowed_by(light, heavy, ohms))


def _turned(loaded: Loaded, phase: CurveReading, late_s: float, hz: float) -> Phasor:
    x, data = np.log(phase.data.x), phase.data
    degrees = float(np.interp(math.log(hz), x, data.y))
    u = 0.0 if data.uncertainty is None else float(np.interp(math.log(hz), x, data.uncertainty))
    angle = math.radians(degrees) - 2 * math.pi * hz * late_s
    return Phasor(
        cmath.rect(loaded.volts, angle), loaded.u_rel, math.radians(u), loaded.ohm,
        loaded.load_u_rel,
    )  # fmt: skip


def _loaded(curve: CurveReading, gain: Reading, hz: float, shared: bool) -> Loaded:
    """Output over input at a frequency, as the voltage of a drive of 1 V."""
    x, data = np.log(curve.data.x), curve.data
    if not data.x[0] * (1 - 1e-6) <= hz <= data.x[-1] * (1 + 1e-6):
        raise ValueError(f"{in_text(hz, 'Hz', 6)} wasn't swept under both loads")
    db = float(np.interp(np.log(hz), x, data.y)) + (gain.value or 0.0)
    u = 0.0 if data.uncertainty is None else float(np.interp(np.log(hz), x, data.uncertainty))
    level = (gain.estimation if shared else gain.uncertainty) or 0.0
    like = curve.like
    return Loaded(
        10 ** (db / 20), math.hypot(u, level) / DB_PER_RELATIVE, ohm_of(like),
        like.load_uncertainty or 0.0,
    )  # fmt: skip
