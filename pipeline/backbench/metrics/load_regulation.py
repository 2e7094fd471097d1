"""Fall of the output level between two usual loads."""

from __future__ import annotations

import math
from collections.abc import Iterator

from backbench.metrics.declaration import MeasuredValue, derived
from backbench.metrics.load_pairs import STEPPED_OR_SINGLE, ohm_of
from backbench.metrics.session import (
    Derived,
    DerivedResult,
    Reading,
    RefusedDerivation,
    Session,
    grouped,
    limited,
    relative_estimation,
    relative_uncertainty,
)
from backbench.metrics.session_spreads import ONE_SWEEP
from backbench.metrics.traits import Traits
from backbench.signal.uncertainty import DB_PER_RELATIVE

FAMILY = "Output impedance and damping"

REGULATION_OHM = (8.0, 4.0)
SAME_LOAD = 0.05


@derived(
    "load_regulation",
    title="Load regulation, 8 to 4 Ω",
    unit="dB",
    better="lower",
    source="IEC 60268-3 (regulation); definition from memory",
    version=1,
    choice="20 lg of the fundamental at 8 Ω over that at 4 Ω, same drive and tap",
    traits=Traits(session_spread=ONE_SWEEP),
)
def load_regulation(session: Session) -> Iterator[DerivedResult]:
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


def _regulation(session: Session, light: Reading, heavy: Reading) -> DerivedResult:
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
