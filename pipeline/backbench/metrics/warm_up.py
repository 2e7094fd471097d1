"""What moves while a unit warms up, over captures that state the minutes since switching on."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from backbench.metrics.declaration import MeasuredValue, derived
from backbench.metrics.session import (
    Derived,
    DerivedResult,
    Reading,
    RefusedDerivation,
    Session,
    grouped,
    relative_estimation,
)
from backbench.metrics.session_spreads import LEVELS
from backbench.metrics.traits import Traits
from backbench.quantities.writing import exact
from backbench.signal.uncertainty import DB_PER_RELATIVE

FAMILY = "Repeatability and warm-up"

LEAST_CAPTURES = 3
MINUTES = 60.0
_SOURCE = "common practice, no source"
_SPAN = (
    "greatest less least, in dB, over three or more captures that differ in minutes_on alone; "
    "errors of scale cancel"
)
_RATE = (
    "least-squares slope over minutes_on, three or more captures; its uncertainty from the scatter "
    "about the line or from the readings, the greater"
)


class _Point(NamedTuple):
    """One capture: minutes since switching on, level in dB, its own uncertainty in dB."""

    minutes: float
    db: float
    u: float
    reading: Reading


@derived("gain_drift", title="Warm-up drift of gain", unit="dB", better="lower",
         source=_SOURCE, version=1, choice=_SPAN, traits=Traits(session_spread=LEVELS))  # fmt: skip
def gain_drift(session: Session) -> Iterator[DerivedResult]:
    """How far the gain moves over a timed series."""
    yield from _spans(session, "gain")


@derived("gain_drift_rate", title="Rate of warm-up drift of gain", unit="dB/h",
         better="nearer zero", source=_SOURCE, version=1, choice=_RATE,
         traits=Traits(session_spread=LEVELS))  # fmt: skip
def gain_drift_rate(session: Session) -> Iterator[DerivedResult]:
    """Slope of the gain over a timed series."""
    yield from _rates(session, "gain")


@derived("distortion_drift", title="Warm-up drift of THD", unit="dB",
         better="lower", source=_SOURCE, version=1, choice="20 lg of THD; " + _SPAN)  # fmt: skip
def distortion_drift(session: Session) -> Iterator[DerivedResult]:
    """How far harmonic distortion moves over a timed series."""
    yield from _spans(session, "thd")


@derived("distortion_drift_rate", title="Rate of warm-up drift of THD", unit="dB/h",
         better="nearer zero", source=_SOURCE, version=1,
         choice="20 lg of THD; " + _RATE)  # fmt: skip
def distortion_drift_rate(session: Session) -> Iterator[DerivedResult]:
    """Slope of harmonic distortion over a timed series."""
    yield from _rates(session, "thd")


@derived("noise_drift", title="Warm-up drift of idle noise", unit="dB", better="lower",
         source=_SOURCE, version=1, choice="20 lg of the unweighted noise; " + _SPAN)  # fmt: skip
def noise_drift(session: Session) -> Iterator[DerivedResult]:
    """How far the idle noise moves over a timed series."""
    yield from _spans(session, "noise")


@derived("noise_drift_rate", title="Rate of warm-up drift of idle noise", unit="dB/h",
         better="nearer zero", source=_SOURCE, version=1,
         choice="20 lg of the unweighted noise; " + _RATE)  # fmt: skip
def noise_drift_rate(session: Session) -> Iterator[DerivedResult]:
    """Slope of the idle noise over a timed series."""
    yield from _rates(session, "noise")


def _place(r: Reading) -> tuple[object, ...]:
    return (
        r.stimulus, r.unit_key, r.output, r.frequency_hz, r.load_kind, r.load_ohm,
        r.generator_vrms, r.input, r.tap, r.volume, r.controls, r.driven, r.calibration_key,
        tuple(sorted(r.detail.items())),
    )  # fmt: skip


def _series(session: Session, metric: str) -> Iterator[list[_Point] | RefusedDerivation]:
    """Captures that differ in the minutes alone, by rising minutes."""
    timed = [r for r in session.of(metric, bound=None) if r.minutes_on is not None]
    for same in grouped(timed, _place).values():
        times = {r.minutes_on for r in same}
        if len(times) == 1:
            continue
        if len(times) < LEAST_CAPTURES:
            reason = f"{len(times)} captures of a timed series where {LEAST_CAPTURES} are needed"
            yield RefusedDerivation(reason, same[0], tuple(same))
            continue
        yield sorted(_point(r) for r in same)


def _point(r: Reading) -> _Point:
    """Gain is in dB already; distortion and noise are not."""
    value, minutes = r.value or 0.0, r.minutes_on or 0.0
    if r.metric == "gain":
        return _Point(minutes, value, r.estimation or 0.0, r)
    return _Point(minutes, 20 * math.log10(value), DB_PER_RELATIVE * relative_estimation(r), r)


def _spans(session: Session, metric: str) -> Iterator[DerivedResult]:
    for points in _series(session, metric):
        if isinstance(points, RefusedDerivation):
            yield points
            continue
        top, bottom = max(points, key=lambda p: p.db), min(points, key=lambda p: p.db)
        u = math.hypot(top.u, bottom.u)
        yield _given(points, MeasuredValue(top.db - bottom.db, u, u))


def _rates(session: Session, metric: str) -> Iterator[DerivedResult]:
    for points in _series(session, metric):
        yield points if isinstance(points, RefusedDerivation) else _given(points, _slope(points))


def _slope(points: list[_Point]) -> MeasuredValue:
    """Straight line through the points; GUM H.3 does the same for a calibration curve."""
    hours = np.array([p.minutes for p in points]) / MINUTES
    db = np.array([p.db for p in points])
    centred = hours - hours.mean()
    square = float(np.dot(centred, centred))
    slope = float(np.dot(centred, db) / square)
    left = db - db.mean() - slope * centred
    freedom = len(points) - 2
    scatter = float(np.dot(left, left)) / freedom
    stated = float(np.mean([p.u**2 for p in points]))
    u = math.sqrt(max(scatter, stated) / square)
    return MeasuredValue(slope, u, u, float(freedom) if scatter > stated else math.inf)


def _given(points: list[_Point], figure: MeasuredValue) -> Derived:
    first, last = points[0].minutes, points[-1].minutes
    detail = {"minutes": f"{exact(first, '1')} to {exact(last, '1')}"}
    figure = replace(figure, detail=detail)
    return Derived(figure, points[0].reading, tuple(p.reading for p in points))
