"""Fall of the output level between two usual loads."""

from __future__ import annotations

from collections.abc import Iterator

from backbench.metrics.declaration import derived
from backbench.metrics.load_pairs import STEPPED_OR_SINGLE, ohm_of
from backbench.metrics.reading_ratios import ratio_in_db
from backbench.metrics.session import (
    Derived,
    DerivedResult,
    Reading,
    RefusedDerivation,
    Session,
    grouped,
    limited,
)
from backbench.metrics.session_spreads import ONE_SWEEP
from backbench.metrics.traits import Traits

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
    return Derived(ratio_in_db(light, heavy), heavy, sources)
