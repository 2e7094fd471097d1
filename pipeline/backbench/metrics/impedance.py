"""Output impedance and damping factor, from two loads."""

from __future__ import annotations

import cmath
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from backbench.documents.input_sorts import is_headphone_socket
from backbench.metrics.declaration import (
    Bound,
    CurveData,
    MeasuredValue,
    derived,
    derived_curve,
)
from backbench.metrics.load_pairs import (
    COVERAGE,
    Pair,
    best_pairs,
    ohm_of,
)
from backbench.metrics.session import (
    Derived,
    DerivedCurve,
    DerivedResult,
    Reading,
    RefusedDerivation,
    Session,
)
from backbench.metrics.swept_load_pairs import SweptPoint, swept_at, swept_over, swept_pairs
from backbench.metrics.traits import Overview, Traits
from backbench.quantities.writing import exact
from backbench.signal.impedance import ComplexOhms
from backbench.signal.uncertainty import ONE_SIDED

FAMILY = "Output impedance and damping"

LEAST_LINE_OHM = 100.0
"""Load from which on an output without a tap is a line output (common practice, no source)."""
NOMINAL_OHM = 8.0
TAP = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:ohms?|[\u03a9\u2126]|r)(?:\s+(?:tap|output))?", re.I)
NO_PHASE = (
    "no phase: the generator was not recorded beside the output, or the tables have none, so that "
    "a reactive part of the source impedance isn't seen"
)
SWEPT_HZ = (20.0, 1000.0, 20_000.0)
LEAST_TONES = 5


@dataclass(frozen=True)
class _Across:
    """What two loads give: SweptPoint, the reading whose conditions it has, its sources.

    own_hz: a frequency of its own, where it isn't that of the reading.
    """

    at: SweptPoint
    like: Reading
    sources: tuple[Reading, ...]
    own_hz: float | None


@derived(
    "source_impedance",
    title="Output impedance",
    unit="ohm",
    better="lower",
    source="IEC 60268-3 (output source impedance)",
    version=5,
    choice="magnitude, from amplitude and phase of the fundamental under two loads at one drive, "
    "at the point where the voltage was recorded; of sweeps at 20 Hz, 1 kHz and 20 kHz. A bound "
    "where the generator was not recorded beside the output, or tables have no phase, so that it "
    "isn't known",
    traits=Traits(
        also_called=("output impedance", "zout", "z out", "output z", "source z", "ro"),
        compared_at=("impedance-1khz",),
        position=120,
        on_request=True,
        given_by="a tone of 1 kHz at one drive into two loads",
        point_family="output impedance",
        captions=("impedance-over-frequency",),
    ),
)
def source_impedance(session: Session) -> Iterator[DerivedResult]:
    """Magnitude of the output's impedance, from its voltages across two loads at the same drive."""
    for across in session.once(_across):
        if isinstance(across, _Across):
            yield _given(across, _magnitude(across))
        else:
            yield across


@derived(
    "source_impedance_phase",
    title="Phase of the output source impedance",
    unit="deg",
    better="neither",
    source="IEC 60268-3 (output source impedance)",
    version=1,
    choice="above 0 where it is inductive; given where the magnitude is four times its uncertainty",
)
def source_impedance_phase(session: Session) -> Iterator[DerivedResult]:
    """Angle of the output's impedance, -180 to 180 degrees."""
    for across in session.once(_across):
        whole = across.at.whole if isinstance(across, _Across) else None
        if isinstance(across, _Across) and whole and whole.value >= 2 * COVERAGE * whole.u:
            u = math.degrees(whole.u_rad)
            yield _given(across, MeasuredValue(math.degrees(cmath.phase(whole.z)), u, u))


@derived(
    "regulation_resistance",
    title="Regulation resistance",
    unit="ohm",
    better="lower",
    source="common practice, no source",
    version=3,
    choice="the resistance that would draw the output's magnitude down as much between two loads, "
    "where no phase was recorded; its uncertainty reaches to the greatest source impedance "
    "without a negative resistance that the same magnitudes allow, a pure reactance",
)
def regulation_resistance(session: Session) -> Iterator[DerivedResult]:
    """Resistance that explains the fall of the output voltage between two loads."""
    for across in session.once(_across):
        if isinstance(across, _Across) and across.at.whole is None:
            ohms, most = across.at.ohms, across.at.allowed[1]
            if math.isinf(most):
                yield _no_bound(across)
            elif ohms.value < COVERAGE * ohms.u:
                yield _given(across, MeasuredValue(most, ohms.u, ohms.estimation, bound="upper"))
            else:
                u = math.hypot(ohms.u, _missed(across.at))
                figure = MeasuredValue(ohms.value, u, ohms.estimation, remark=NO_PHASE)
                yield _given(across, figure)


@derived(
    "damping_factor",
    title="Damping factor",
    unit="1",
    better="higher",
    source="IEC 60268-3 (damping factor)",
    version=6,
    choice="nominal load over the magnitude of the source impedance, at the point where the "
    "voltage was recorded: a lead beyond it is not in it. Nominal load: the named tap's; that "
    "under which it was measured at a headphone output; else 8 ohm. A bound without phase. None of "
    "an output under loads of 100 ohm and more without a tap: it drives no loudspeaker",
    traits=Traits(
        also_called=("damping", "df", "damp"),
        compared_at=("impedance-1khz",),
        position=130,
        given_by="a tone of 1 kHz at one drive into two loads",
        loudspeaker_only=True,
        point_family="output impedance",
        overview=Overview("Damping factor at 1 kHz", "impedance-1khz"),
        captions=("damping-by-technology",),
    ),
)
def damping_factor(session: Session) -> Iterator[DerivedResult]:
    """Nominal load resistance divided by the magnitude of the output source impedance."""
    for across in session.once(_across):
        like = across.like
        if _is_line_output(like):
            continue
        nominal = nominal_load(like)
        detail = {} if nominal is None else {"nominal load": exact(nominal, "ohm")}
        if not isinstance(across, _Across):
            yield replace(across, detail=detail)
            continue
        magnitude = _magnitude(across)
        if magnitude is None:
            yield replace(_no_bound(across), detail=detail)
        elif nominal is None:
            reason = f"the tap {like.tap!r} names no nominal load: name it as, for example, 16 ohm"
            yield RefusedDerivation(reason, like, across.sources, frequency_hz=across.own_hz)
        else:
            yield _given(across, _factor(nominal, magnitude, detail))


def _missed(at: SweptPoint) -> float:
    """Standard uncertainty of a regulation resistance as a source impedance, from what it misses.

    Twice that reaches the farther end of what the magnitudes allow.
    """
    least, most = at.allowed
    return max(most - at.ohms.value, at.ohms.value - least) / COVERAGE


def _factor(nominal: float, impedance: MeasuredValue, detail: dict[str, str]) -> MeasuredValue:
    factor = nominal / impedance.value
    turned: dict[Bound | None, Bound] = {"upper": "lower", "lower": "upper"}
    # Its inverse is farther off upwards: so far as the bound may be surely reaches.
    surely = 1 - ONE_SIDED * impedance.uncertainty / impedance.value
    steeper = factor / impedance.value / (surely if impedance.bound and surely > 0 else 1.0)
    return MeasuredValue(
        factor, steeper * impedance.uncertainty, steeper * impedance.estimation,
        bound=turned.get(impedance.bound), detail=detail, remark=impedance.remark,
    )  # fmt: skip


def _given(across: _Across, figure: MeasuredValue | None) -> DerivedResult:
    if figure is None:
        return _no_bound(across)
    return Derived(replace(figure, frequency_hz=across.own_hz), across.like, across.sources)


def _no_bound(across: _Across) -> RefusedDerivation:
    reason = "the magnitudes alone bound no source impedance: record the generator on a track"
    return RefusedDerivation(reason, across.like, across.sources, frequency_hz=across.own_hz)


def _magnitude(across: _Across) -> MeasuredValue | None:
    """The magnitude, or what is known of it; None where nothing is."""
    at = across.at
    if at.whole is not None:
        return _figure(at.whole)
    least, most = at.allowed
    if math.isinf(most):
        return None
    if least <= 0:
        return MeasuredValue(most, at.ohms.u, at.ohms.estimation, bound="upper", remark=NO_PHASE)
    return MeasuredValue(least, at.ohms.u, at.ohms.estimation, bound="lower", remark=NO_PHASE)


def _across(session: Session) -> list[_Across | RefusedDerivation]:
    return [*_across_loads(session)]


def _across_loads(session: Session) -> Iterator[_Across | RefusedDerivation]:
    """Impedances of tones under two loads, and of sweeps at 20 Hz, 1 kHz and 20 kHz."""
    for pair in session.once(best_pairs):
        if pair.ohms is None:
            yield RefusedDerivation(pair.reason or "", pair.heavy, pair.sources)
        else:
            at = SweptPoint(pair.heavy.frequency_hz or 0.0, pair.ohms, pair.whole, pair.allowed)
            yield _Across(at, pair.heavy, pair.sources, None)
    for swept in swept_pairs(session):
        like = swept.gains[1]
        for hz in SWEPT_HZ:
            try:
                yield _Across(swept_at(swept, hz), like, swept.sources, hz)
            except ValueError as error:
                yield RefusedDerivation(str(error), like, swept.sources, frequency_hz=hz)


@derived_curve("source_impedance", title="Output impedance", x_unit="Hz", y_unit="ohm", version=2)
def source_impedance_curve(session: Session) -> Iterator[DerivedCurve]:
    """Magnitude under two loads at one drive: of sweeps, and of tones at five frequencies or more.

    Where the generator was recorded beside the output. Of several loads swept, the two most
    different.
    """
    for wholes, like, sources in _wholes(session):
        yield DerivedCurve(
            CurveData(
                np.array([at.hz for at, _ in wholes]),
                np.array([whole.value for _, whole in wholes]),
                np.array([whole.u for _, whole in wholes]),
            ),
            like, sources,
        )  # fmt: skip


@derived_curve(
    "source_impedance_phase", title="Phase of the output source impedance", x_unit="Hz",
    y_unit="deg", version=1,
)  # fmt: skip
def source_impedance_phase_curve(session: Session) -> Iterator[DerivedCurve]:
    """Angle of the source impedance, of the same frequencies as its magnitude."""
    for wholes, like, sources in _wholes(session):
        yield DerivedCurve(
            CurveData(
                np.array([at.hz for at, _ in wholes]),
                np.array([math.degrees(cmath.phase(whole.z)) for _, whole in wholes]),
                np.array([math.degrees(whole.u_rad) for _, whole in wholes]),
            ),
            like, sources,
        )  # fmt: skip


@derived_curve(
    "regulation_resistance", title="Regulation resistance", x_unit="Hz", y_unit="ohm", version=1
)
def regulation_resistance_curve(session: Session) -> Iterator[DerivedCurve]:
    """The same from magnitudes alone, where the generator was not recorded beside the output."""
    for ats, like, sources in session.once(_sets):
        known = [at for at in ats if at.whole is None and math.isfinite(at.allowed[1])]
        if len(known) >= 2:
            u = [math.hypot(at.ohms.u, _missed(at)) for at in known]
            data = CurveData(
                np.array([at.hz for at in known]), np.array([at.ohms.value for at in known]),
                np.array(u),
            )  # fmt: skip
            yield DerivedCurve(data, like, sources)


_Set = tuple[list[SweptPoint], Reading, tuple[Reading, ...]]
_WholeSet = tuple[list[tuple[SweptPoint, ComplexOhms]], Reading, tuple[Reading, ...]]


def _wholes(session: Session) -> Iterator[_WholeSet]:
    for ats, like, sources in session.once(_sets):
        known = [(at, at.whole) for at in ats if at.whole is not None]
        if len(known) >= 2:
            yield known, like, sources


def _sets(session: Session) -> list[_Set]:
    return [*_sets_of_sweeps(session), *_sets_of_tones(session)]


def _sets_of_sweeps(session: Session) -> Iterator[_Set]:
    """Impedances by rising frequency."""
    for swept in swept_pairs(session):
        yield swept_over(swept), swept.gains[1], swept.sources


def _sets_of_tones(session: Session) -> Iterator[_Set]:
    """The same of tones at five frequencies or more."""
    groups: dict[object, list[Pair]] = {}
    for pair in session.once(best_pairs):
        if pair.ohms is not None:
            place = (*_place(pair.heavy), ohm_of(pair.heavy), pair.whole is None)
            groups.setdefault(place, []).append(pair)
    for same in groups.values():
        rising = sorted(same, key=lambda pair: pair.heavy.frequency_hz or 0.0)
        if len(rising) >= LEAST_TONES:
            ats = [
                SweptPoint(pair.heavy.frequency_hz or 0.0, pair.ohms, pair.whole, pair.allowed)
                for pair in rising if pair.ohms is not None
            ]  # fmt: skip
            yield ats, rising[0].heavy, tuple(r for pair in rising for r in pair.sources)


def _place(r: Reading) -> tuple[object, ...]:
    return r.unit_key, r.output, r.input, r.tap, r.volume, r.controls


def _is_line_output(like: Reading) -> bool:
    """Whether an output that names no tap was loaded as no loudspeaker or headphone loads it."""
    named = like.tap is not None or is_headphone_socket(None, like.output)
    return not named and (like.load_ohm or 0.0) >= LEAST_LINE_OHM


def nominal_load(like: Reading) -> float | None:
    """Ohms of a tap named as "4 ohm", "4Ω" or "4 R"; None where it has another name ("high").

    A headphone output's own is the load that it was measured into. 8 where no tap is named.
    """
    if is_headphone_socket(like.tap, like.output):
        return like.load_ohm
    if like.tap is None:
        return NOMINAL_OHM
    tap = TAP.fullmatch(like.tap.strip())
    return float(tap[1].replace(",", ".")) if tap else None


def _figure(whole: ComplexOhms) -> MeasuredValue:
    """The magnitude; an upper bound where it can't be told from nothing."""
    if whole.value >= COVERAGE * whole.u:
        return MeasuredValue(whole.value, whole.u, whole.estimation)
    most = whole.value + ONE_SIDED * whole.u
    return MeasuredValue(most, whole.u, whole.estimation, bound="upper")
