"""How far above the audio band the input that gives rated power may reach."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

from backbench.metrics.declaration import MeasuredValue, derived
from backbench.metrics.session import (
    Derived,
    DerivedResult,
    Reading,
    RefusedDerivation,
    Session,
    grouped,
)

FAMILY = "Power and headroom"

BAND_END_HZ = 20_000.0
REFERENCE_HZ = (900.0, 1100.0)
LIMIT_PERCENT = 1.0
NEAR_RATED = 0.1
"""How far the power of the tone at 1 kHz may be from the rated one, relative."""


@derived(
    "slew_factor", title="Slew factor", unit="1", better="higher",
    source="IHF-A-202:1978 (slew factor; from memory)", version=1,
    choice="the generator level that gives rated power (within 10 %) at 1 kHz, at rising "
    "frequencies from 10 kHz on; the frequency at which THD passes 1 %, the middle of the last one "
    "within and the first one beyond, over 20 kHz; harmonics as far as they were recorded, the "
    "second and the third at least; a lower bound where none is beyond",
)  # fmt: skip
def slew_factor(session: Session) -> Iterator[DerivedResult]:
    """Highest frequency that is taken at the input of rated power with 1 % THD, over 20 kHz."""
    tones = [r for r in session.of("thd") if r.frequency_hz and r.generator_vrms and _known(r)]
    for same in grouped(tones, _place).values():
        high = [r for r in same if (r.frequency_hz or 0.0) >= BAND_END_HZ / 2]
        rated = [r for r in same if _gives_rated_power(session, r)]
        if rated and any((r.frequency_hz or 0.0) > BAND_END_HZ for r in high):
            yield _factor(rated[0], sorted(high, key=lambda r: r.frequency_hz or 0.0))


def _place(r: Reading) -> tuple[object, ...]:
    return (
        r.unit_key, r.output, r.generator_vrms, r.load_ohm, r.input, r.tap, r.volume, r.controls,
        r.driven,
    )  # fmt: skip


def _gives_rated_power(session: Session, r: Reading) -> bool:
    rated = session.rated_power_w.get(r.unit_key)
    at_1k = REFERENCE_HZ[0] <= (r.frequency_hz or 0.0) <= REFERENCE_HZ[1]
    return bool(at_1k and rated and r.power_w and abs(r.power_w / rated - 1) <= NEAR_RATED)


def _factor(reference: Reading, rising: list[Reading]) -> DerivedResult:
    sources = (reference, *rising)
    if not _within(reference) or not _within(rising[0]):
        reason = "THD isn't within 1 % at 1 kHz and at the lowest frequency above 10 kHz"
        return RefusedDerivation(reason, reference, sources)
    for inner, outer in itertools.pairwise(rising):
        if not _within(outer):
            low, high = _hz(inner), _hz(outer)
            factor = math.sqrt(low * high) / BAND_END_HZ
            u = factor * math.log(high / low) / math.sqrt(12)
            return Derived(MeasuredValue(factor, u, u), reference, sources)
    figure = MeasuredValue(_hz(rising[-1]) / BAND_END_HZ, 0.0, bound="lower")
    return Derived(figure, reference, sources)


def _hz(r: Reading) -> float:
    return r.frequency_hz or math.nan


def _within(r: Reading) -> bool:
    """Whether a distortion is within the limit, or within its uncertainty of it."""
    return (r.value or 0.0) - 2 * (r.uncertainty or 0.0) <= LIMIT_PERCENT


def _known(r: Reading) -> bool:
    """Whether a distortion says on which side of the limit it is."""
    return r.bound != "upper" or (r.value or 0.0) <= LIMIT_PERCENT
