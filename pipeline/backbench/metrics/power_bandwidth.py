"""The band in which half the rated power is delivered at the rated distortion."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from backbench.metrics.declaration import MeasuredValue, derived
from backbench.metrics.power_limit import published_limit
from backbench.metrics.session import (
    Derived,
    DerivedResult,
    Reading,
    RefusedDerivation,
    Session,
    grouped,
    relative_uncertainty,
)
from backbench.quantities.writing import in_text

FAMILY = "Power and headroom"

REFERENCE_HZ = 1000.0
NEAR = 0.1
"""How far a distortion's published power may be from the rated one, relative."""
LEAST_FREQUENCIES = 3
_SOURCE = "IEC 60268-3 (power bandwidth); definition from memory"
_CHOICE = (
    "harmonics 2 to 10 as far as they were recorded, the second and the third at least (detail "
    "says which at the edge); a frequency counts as within where a tone "
    "there gave half the rated power or more at no more than the rated distortion; the edge lies "
    "between the last frequency within and the next one without"
)


class _Tested(NamedTuple):
    """What a frequency showed: whether half power was delivered; None where it can't be told.

    harmonics: which of them were recorded, where not all to the tenth were.
    """

    hz: float
    within: bool | None
    made_from: tuple[Reading, ...]
    harmonics: str | None = None


@derived(
    "power_bandwidth_low",
    title="Power bandwidth, lower end",
    unit="Hz",
    better="lower",
    source=_SOURCE,
    version=2,
    choice=_CHOICE,
)
def power_bandwidth_low(session: Session) -> Iterator[DerivedResult]:
    """Lowest frequency at which half the rated power is delivered at the rated distortion."""
    yield from _edges(session, upward=False)


@derived(
    "power_bandwidth_high",
    title="Power bandwidth, upper end",
    unit="Hz",
    better="higher",
    source=_SOURCE,
    version=2,
    choice=_CHOICE,
)
def power_bandwidth_high(session: Session) -> Iterator[DerivedResult]:
    """Highest frequency at which half the rated power is delivered at the rated distortion."""
    yield from _edges(session, upward=True)


def _edges(session: Session, *, upward: bool) -> Iterator[DerivedResult]:
    distortions = [r for r in session.of("thd") if r.power_w and r.frequency_hz]
    for same in grouped(distortions, _place).values():
        frequencies = grouped(same, lambda r: round(math.log(r.frequency_hz or 1.0), 2))
        if len(frequencies) < LEAST_FREQUENCIES:
            continue
        like = min(same, key=lambda r: abs(math.log((r.frequency_hz or 1.0) / REFERENCE_HZ)))
        rated = _rated(session, like)
        if isinstance(rated, str):
            yield RefusedDerivation(rated, like, tuple(same))
            continue
        tested = [_test(session, readings, *rated) for readings in frequencies.values()]
        yield _edge(sorted(tested, key=lambda t: t.hz), like, upward=upward)


def _place(r: Reading) -> tuple[object, ...]:
    return r.unit_key, r.output, r.load_ohm, r.input, r.tap, r.volume, r.controls, r.driven


def _rated(session: Session, like: Reading) -> tuple[float, float] | str:
    """Rated power in W and distortion in percent; or what is missing."""
    mine = [p for p in session.promised if p.unit_key == like.unit_key]
    powers = [p.limit_value for p in mine if p.metric == "power_at_limit" and p.limit_percent]
    power = session.rated_power_w.get(like.unit_key) or next(iter(powers), None)
    if power is None:
        return "no rated power was stated"
    limits = [
        limit for p in mine if (limit := published_limit(p))
        and abs((p.power_w or p.limit_value) / power - 1) <= NEAR
    ]  # fmt: skip
    return (power, max(limits)) if limits else "no distortion at rated power was published"


def _test(session: Session, readings: list[Reading], power_w: float, limit: float) -> _Tested:
    """Whether half the rated power was delivered within the limit by any of these tones.

    A power or a distortion within its uncertainty of the limit counts as reached.
    """
    sources: list[Reading] = []
    passes: bool | None = None
    for distortion in readings:
        power = session.same_capture("output_power", distortion)
        if power is None or not power.value or distortion.value is None:
            continue
        if power.value * (1 + 2 * relative_uncertainty(power)) < power_w / 2:
            continue
        sources += [power, distortion]
        clean = distortion.value - 2 * (distortion.uncertainty or 0.0) <= limit
        passes = passes or clean if (clean or distortion.bound is None) else passes
    hz = readings[0].frequency_hz or 1.0
    narrow = [r.detail["harmonics"] for r in readings if "harmonics" in r.detail]
    return _Tested(hz, passes, tuple(sources), min(narrow, key=_order, default=None))


def _order(harmonics: str) -> int:
    """The last of "2 to 4"."""
    return int(harmonics.rsplit(" ", 1)[-1])


def _detail(tested: Sequence[_Tested]) -> dict[str, str]:
    """The harmonics that were in band at all of these frequencies."""
    narrow = [t.harmonics for t in tested if t.harmonics]
    return {"harmonics": min(narrow, key=_order)} if narrow else {}


def _edge(tested: Sequence[_Tested], like: Reading, *, upward: bool) -> DerivedResult:
    known = [t for t in tested if t.within is not None]
    made_from = tuple(r for t in known for r in t.made_from) or (like,)
    middle = min(known, key=lambda t: abs(math.log(t.hz / REFERENCE_HZ)), default=None)
    if middle is None or len(known) < 2:
        reason = "half the rated power was reached at fewer than two frequencies"
        return RefusedDerivation(reason, like, made_from)
    if not middle.within:
        reason = (
            f"at {in_text(middle.hz, 'Hz', 6)} half the rated power isn't within the rated "
            "distortion"
        )
        return RefusedDerivation(reason, like, made_from)
    outward = [t for t in known if (t.hz >= middle.hz if upward else t.hz <= middle.hz)]
    outward = outward if upward else outward[::-1]
    for inner, outer in itertools.pairwise(outward):
        if not outer.within:
            hz = math.sqrt(inner.hz * outer.hz)
            u = hz * abs(math.log(outer.hz / inner.hz)) / math.sqrt(12)
            figure = MeasuredValue(hz, u, u, detail=_detail([inner, outer]))
            return Derived(figure, like, made_from)
    end = outward[-1].hz
    figure = MeasuredValue(
        end, 0.0, bound="lower" if upward else "upper", detail=_detail(outward[-1:])
    )
    return Derived(figure, like, made_from)
