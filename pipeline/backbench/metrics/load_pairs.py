"""Pairs of captures that differ in their load, and the source impedance that they tell."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from itertools import combinations

from backbench.metrics.session import (
    Reading,
    Session,
    cleanest,
    grouped,
    limited,
    relative_estimation,
    relative_uncertainty,
)
from backbench.metrics.warnings import warning
from backbench.quantities.writing import in_text
from backbench.signal.impedance import (
    ComplexOhms,
    Loaded,
    Ohms,
    Phasor,
    complex_impedance,
    reactance,
    regulation_resistance,
)
from backbench.signal.uncertainty import DB_PER_RELATIVE, ONE_SIDED

LEAST_LOAD_RATIO = 1.1
"""Loads nearer to each other than this are taken as one."""
COVERAGE = 2.0
STEPPED_OR_SINGLE = {"tone", "steps", "tone trace table", "harmonics table"}


@dataclass(frozen=True)
class Pair:
    """Two captures that differ in their load, and what they give.

    ohms: from the magnitudes; None with the reason. whole: from the phasors, where both captures
    recorded the generator. allowed: the least and the greatest impedance that the magnitudes
    allow, ohm. with_phase: the readings that the phasors were made from.
    """

    light: Reading
    heavy: Reading
    ohms: Ohms | None
    reason: str | None
    whole: ComplexOhms | None = None
    allowed: tuple[float, float] = (0.0, math.inf)
    with_phase: tuple[Reading, ...] = ()

    @property
    def sources(self) -> tuple[Reading, ...]:
        """What the figures are made from."""
        return (self.light, self.heavy, *self.with_phase)


def best_pairs(session: Session) -> list[Pair]:
    """For each output, frequency, tap, input and volume, the pair that tells it best."""
    levels = [
        r for r in session.of("level", bound=None)
        if r.stimulus in STEPPED_OR_SINGLE and r.load_kind is not None and r.value
        and r.driven in (None, r.output)
    ]  # fmt: skip
    alike = grouped(levels, _place).values()
    return [_best(session, same) for same in alike if len({ohm_of(r) for r in same}) > 1]


def _place(r: Reading) -> tuple[object, ...]:
    return r.unit_key, r.output, r.frequency_hz, r.input, r.tap, r.volume, r.controls


def drive_of(r: Reading) -> tuple[object, ...]:
    return r.generator_vrms, r.driven


def _best(session: Session, same: list[Reading]) -> Pair:
    """Raises nothing: where no pair gives a number, a pair with the reason."""
    lightest_first = sorted(same, key=lambda r: (-ohm_of(r), r.generator_vrms or 0.0))
    alike = [
        (a, b) for a, b in combinations(lightest_first, 2)
        if drive_of(a) == drive_of(b) and a.generator_vrms is not None
        and far_apart(a, b)
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
    loaded = (_loaded(light, shared), _loaded(heavy, shared))
    try:
        ohms = regulation_resistance(*loaded)
        phasors = [_phasor(session, reading, shared) for reading in (light, heavy)]
        known = [phasor for phasor in phasors if phasor is not None]
        whole = complex_impedance(*(phasor for phasor, _ in known)) if len(known) == 2 else None
    except ValueError as error:
        return Pair(light, heavy, None, str(error))
    real, u = (ohms.value, ohms.u) if whole is None else (whole.z.real, whole.u)
    if real < -(COVERAGE + 1) * u:
        rise = 100 * (_volts(heavy) / _volts(light) - 1)
        reason = warning(
            f"the voltage rises by {in_text(rise, '%', 2)} under the heavier load "
            f"({ohm_text(heavy)} after {ohm_text(light)}): the two captures were likely exchanged, "
            "or a load is stated wrongly. Check the load of both and name them the other way "
            "round, or record again"
        )
        return Pair(light, heavy, None, reason)
    made_from = tuple(r for _, readings in known for r in readings) if whole else ()
    return Pair(
        light=light,
        heavy=heavy,
        ohms=ohms,
        reason=None,
        whole=whole,
        allowed=allowed_by(*loaded, ohms),
        with_phase=made_from,
    )


def ohm_text(reading: Reading) -> str:
    """The load in words."""
    return "no load" if reading.load_kind == "open" else in_text(reading.load_ohm or 0.0, "ohm", 6)


def allowed_by(light: Loaded, heavy: Loaded, ohms: Ohms) -> tuple[float, float]:
    """The least and the greatest impedance that two magnitudes allow, ohm.

    Both with the uncertainties included; the least is 0 where it may be nothing.
    """
    own = ONE_SIDED * math.hypot(light.u_rel, heavy.u_rel)
    load = 1 + ONE_SIDED * math.hypot(light.load_u_rel, heavy.load_u_rel)
    loads = (light.ohm, heavy.ohm)
    margin = ONE_SIDED * ohms.u
    least = reactance(light.volts * max(1 - own, 0.0), heavy.volts, *loads) / load
    most = load * reactance(light.volts * (1 + own), heavy.volts, *loads)
    # Noise may put either below nothing, where no source is.
    least = max(min(ohms.value - margin, least), 0.0)
    return least, max(most, max(ohms.value, 0.0) + margin)


def _phasor(
    session: Session, level: Reading, shared: bool
) -> tuple[Phasor, tuple[Reading, Reading]] | None:
    """Output over generator as a complex number; None where the generator was not recorded."""
    gain, angle = (session.same_capture(name, level) for name in ("gain", "gain_phase"))
    if gain is None or angle is None or gain.value is None or angle.value is None:
        return None
    u = (gain.estimation if shared else gain.uncertainty) or 0.0
    phasor = Phasor(
        cmath.rect(10 ** (gain.value / 20), math.radians(angle.value)), u / DB_PER_RELATIVE,
        math.radians(angle.uncertainty or 0.0), ohm_of(level), level.load_uncertainty or 0.0,
    )  # fmt: skip
    return phasor, (gain, angle)


def _loaded(reading: Reading, shared: bool) -> Loaded:
    """A calibration that both captures have cancels in their ratio."""
    own = relative_estimation(reading) if shared else relative_uncertainty(reading)
    return Loaded(_volts(reading), own, ohm_of(reading), reading.load_uncertainty or 0.0)


def far_apart(light: Reading, heavy: Reading) -> bool:
    """Whether two loads tell an impedance; an open output has nothing lighter beside it."""
    return math.isfinite(ohm_of(heavy)) and ohm_of(light) >= LEAST_LOAD_RATIO * ohm_of(heavy)


def ohm_of(reading: Reading) -> float:
    """The load in ohm, infinite where the output was open."""
    return math.inf if reading.load_kind == "open" else reading.load_ohm or math.inf


def _volts(reading: Reading) -> float:
    return reading.value or math.nan
