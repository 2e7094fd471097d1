"""Responses across captures: stepped tones, channels, tone controls, the published mask."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterator

import numpy as np

from backbench.errors import Refusal
from backbench.metrics.declaration import CurveData, MeasuredValue, derived, derived_curve
from backbench.metrics.response import AUDIO_BAND_HZ, held
from backbench.metrics.response_view import REFERENCE_HZ
from backbench.metrics.session import (
    CurveReading,
    Derived,
    DerivedCurve,
    DerivedResult,
    Promised,
    Reading,
    RefusedDerivation,
    Session,
    grouped,
    limited,
)
from backbench.metrics.session_spreads import LEVELS, ONE_SWEEP
from backbench.metrics.traits import Traits
from backbench.quantities.writing import exact
from backbench.signal.response import Response
from backbench.signal.track import Array

FAMILY = "Frequency response and phase"

LEAST_TONES = 5
LEFT, RIGHT = "left", "right"
CONTROL_HZ = (100.0, 10_000.0)
MASKED = ("response_spread", "response_deviation")


@derived(
    "response_of_tones",
    title="Response of tones re 1 kHz",
    unit="dB",
    better="nearer zero",
    source="IEC 60268-3 (gain-frequency response)",
    version=1,
    choice="gain of single tones at one stated level, at the frequencies measured; five or more",
    traits=Traits(session_spread=ONE_SWEEP, usual_stimulus="sweep"),
)
def response_of_tones(session: Session) -> Iterator[DerivedResult]:
    """Gain at a tone's frequency re the gain at 1 kHz, at the same generator level."""
    for gains in _tone_sets(session):
        reference = _at_reference(gains)
        if reference is None:
            yield RefusedDerivation("no tone at 1 kHz among them", gains[0], tuple(gains))
            continue
        for reading in gains:
            if reading is not reference:
                yield Derived(_difference(reading, reference), reading, (reading, reference))


@derived_curve(
    "response_of_tones", title="Response of tones", x_unit="Hz", y_unit="dB re 1 kHz", version=1
)
def response_of_tones_curve(session: Session) -> Iterator[DerivedCurve]:
    """Gains of single tones at one stated level re that at 1 kHz, by frequency."""
    for gains in _tone_sets(session):
        reference = _at_reference(gains)
        if reference is None:
            continue
        figures = [_difference(reading, reference) for reading in gains]
        yield DerivedCurve(
            CurveData(
                np.array([r.frequency_hz or 0.0 for r in gains]),
                np.array([f.value for f in figures]),
                np.array([f.estimation for f in figures]),
            ),
            reference, tuple(gains),
        )  # fmt: skip


def _tone_sets(session: Session) -> Iterator[list[Reading]]:
    """Gains at one level by rising frequency, one a frequency, none of a limited output."""
    gains = [
        r for r in session.of("gain", stimulus="tone", bound=None)
        if r.frequency_hz and r.generator_vrms and limited(session, r) is None
    ]  # fmt: skip
    for same in grouped(gains, _drive).values():
        first = {r.frequency_hz: r for r in reversed(same)}
        if len(first) >= LEAST_TONES:
            yield [first[hz] for hz in sorted(first, key=lambda hz: hz or 0.0)]


def _drive(r: Reading) -> tuple[object, ...]:
    return (*_place(r), r.generator_vrms, r.controls, r.driven, r.calibration_key)


def _place(r: Reading) -> tuple[object, ...]:
    return r.unit_key, r.output, r.load_kind, r.load_ohm, r.input, r.tap, r.volume


def _at_reference(readings: list[Reading]) -> Reading | None:
    near = [r for r in readings if abs((r.frequency_hz or 0.0) / REFERENCE_HZ - 1) < 0.01]
    return near[0] if near else None


def _difference(reading: Reading, reference: Reading) -> MeasuredValue:
    """Of two gains in dB under one calibration, which cancels as does the generator's scale."""
    if reading is reference:
        return MeasuredValue(0.0, 0.0)
    own = math.hypot(reading.estimation or 0.0, reference.estimation or 0.0)
    value = (reading.value or 0.0) - (reference.value or 0.0)
    return MeasuredValue(value, own, own, frequency_hz=reading.frequency_hz)


def response_of(curve: CurveReading) -> Response:
    """A response curve of a session, as the numerics see it."""
    u = curve.data.uncertainty
    return Response(curve.data.x, curve.data.y, np.zeros(len(curve.data.x)) if u is None else u)


@derived(
    "response_difference",
    title="Response difference between channels",
    unit="dB",
    better="lower",
    source="common practice, no source",
    version=4,
    choice="greatest distance of left from right, both re 1 kHz, 20 Hz to 20 kHz; what two outputs "
    "of one sweep are unsure by from below it is common to them",
    traits=Traits(session_spread=ONE_SWEEP, usual_stimulus="sweep"),
)
def response_difference(session: Session) -> Iterator[DerivedResult]:
    """How far the responses of the left and the right output lie apart."""
    curves = [c for c in session.curves if c.like.output in {LEFT, RIGHT}]
    for same in _by(curves, lambda c: (_record(c.like), *_side(c.like))).values():
        lefts = [c for c in same if c.like.output == LEFT]
        rights = [c for c in same if c.like.output == RIGHT]
        for left, right in zip(lefts[:1], rights[:1], strict=False):
            yield _apart(left, right)


def _record(r: Reading) -> str | None:
    """What two outputs share: one record, or each a table of its own."""
    return None if r.stimulus == "response table" else r.analysis_key


def _side(r: Reading) -> tuple[object, ...]:
    return r.stimulus, r.load_ohm, r.input, r.volume, r.controls


def _by(
    curves: list[CurveReading], key: Callable[[CurveReading], Hashable]
) -> dict[Hashable, list[CurveReading]]:
    """Curves by key, in order of first appearance."""
    groups: dict[Hashable, list[CurveReading]] = {}
    for curve in curves:
        groups.setdefault(key(curve), []).append(curve)
    return groups


def _apart(left: CurveReading, right: CurveReading) -> DerivedResult:
    sources = (left.like, right.like)
    against = RIGHT if left.like.unit_key == right.like.unit_key else right.like.unit_key
    one, other = response_of(left), response_of(right)
    if not (one.covers(*AUDIO_BAND_HZ) and other.covers(*AUDIO_BAND_HZ)):
        return RefusedDerivation("not measured from 20 Hz to 20 kHz", left.like, sources)
    y = np.interp(np.log(one.hz), np.log(other.hz), other.db)
    inside = (one.hz <= other.hz[-1] * (1 + 1e-6)) & (one.hz >= other.hz[0] * (1 - 1e-6))
    u = _u_apart(left, right, one.hz)
    apart = Response(one.hz[inside], (one.db - y)[inside], u[inside])
    return Derived(held(apart.farthest(*AUDIO_BAND_HZ)), left.like, sources, against=against)


def _u_apart(left: CurveReading, right: CurveReading, hz: Array) -> Array:
    """Standard uncertainty of the distance of two responses, dB.

    How a response goes on below a sweep is unsure for both outputs of a record alike: both are
    networks, or neither is. The distance is unsure by what they are unsure by apart; by the sum
    where one was told as a network and the other not.
    """
    names = sorted({*left.below, *right.below})
    parts = [[_from_below(curve, name, hz) for name in names] for curve in (left, right)]
    own = [_own(curve, below, hz) for curve, below in zip((left, right), parts, strict=True)]
    apart = [one - other for one, other in zip(*parts, strict=True)]
    return np.asarray(np.sqrt(np.sum(np.square([*own, *apart]), axis=0)))


def _from_below(curve: CurveReading, name: str, hz: Array) -> Array:
    """What an output is unsure by from below a sweep, dB, at frequencies; 0 where not known."""
    if name not in curve.below:
        return np.zeros(len(hz))
    known = curve.below[name]
    return np.asarray(np.interp(np.log(hz), np.log(known.x), known.y, right=0.0))


def _own(curve: CurveReading, below: list[Array], hz: Array) -> Array:
    """Uncertainty of an output's own record without these parts, dB, at frequencies."""
    response = response_of(curve)
    u = np.interp(np.log(hz), np.log(response.hz), response.u_db)
    left = np.square(u) - np.sum(np.square(below), axis=0)
    return np.asarray(np.sqrt(np.maximum(left, 0.0)))


@derived(
    "tone_control_range",
    title="Range of the tone controls",
    unit="dB",
    better="neither",
    source="IEC 60268-3 (tone control characteristics); definition from memory",
    version=1,
    choice="greatest less least output at 100 Hz and at 10 kHz over the stated settings, at the "
    "same input; re 1 kHz where a table doesn't tell the gain",
    traits=Traits(session_spread=LEVELS),
)
def tone_control_range(session: Session) -> Iterator[Derived]:
    """How far the settings of the tone controls move the level at a frequency."""
    for hz in CONTROL_HZ:
        levels = [r for r in session.of("response_at", frequency_hz=hz) if r.controls]
        for same in grouped(levels, lambda r: (r.stimulus, *_place(r))).values():
            if len({r.controls for r in same}) >= 2:
                yield _range(session, same)


def _range(session: Session, levels: list[Reading]) -> Derived:
    gains = {
        r.key: next(iter(session.of("gain", analysis_key=r.analysis_key, output=r.output,
                                    stimulus=r.stimulus)), None)
        for r in levels
    }  # fmt: skip
    known = all(gains.values())

    def level(reading: Reading) -> float:
        gain = gains[reading.key] if known else None
        return (reading.value or 0.0) + ((gain.value or 0.0) if gain else 0.0)

    top, bottom = max(levels, key=level), min(levels, key=level)
    own = math.hypot(top.estimation or 0.0, bottom.estimation or 0.0)
    sources = tuple(
        r for reading in (top, bottom) for r in (reading, gains[reading.key] if known else None)
        if r is not None
    )  # fmt: skip
    detail = {"from": str(bottom.controls), "to": str(top.controls)}
    if not known:
        detail["re"] = "1 kHz"
    figure = MeasuredValue(level(top) - level(bottom), own, own, detail=detail)
    return Derived(figure, top, sources)


@derived(
    "response_margin",
    title="Margin to the published response window",
    unit="dB",
    better="higher",
    source="common practice, no source: the maker's published figure (response_spread or "
    "response_deviation over a band)",
    version=2,
    choice="published limit less what was found over the promised band; below 0 where it is missed",
    traits=Traits(session_spread=ONE_SWEEP, usual_stimulus="sweep"),
)
def response_margin(session: Session) -> Iterator[DerivedResult]:
    """How far a response stays within the one that was published."""
    for promised in session.promised:
        if promised.metric in MASKED and promised.side == "at most":
            for curve in session.curves:
                if curve.like.unit_key == promised.unit_key:
                    yield _margin(promised, curve)


def _margin(promised: Promised, curve: CurveReading) -> DerivedResult:
    low = promised.band_low_hz or AUDIO_BAND_HZ[0]
    high = promised.band_high_hz or AUDIO_BAND_HZ[1]
    kind = "spread" if promised.metric == "response_spread" else "plus or minus"
    band = f"{exact(low, 'Hz')} to {exact(high, 'Hz')}"
    detail = {"promised": f"{kind} {exact(promised.limit_value, 'dB')}, {band}"}
    response = response_of(curve)
    try:
        if promised.metric == "response_spread":
            extreme = response.spread(low, high)
        else:
            extreme = response.farthest(low, high)
    except Refusal as refusal:
        return RefusedDerivation(str(refusal), curve.like, (curve.like,), detail=detail)
    margin = promised.limit_value - extreme.db
    figure = MeasuredValue(margin, extreme.u, extreme.u, detail=detail)
    return Derived(figure, curve.like, (curve.like,))
