"""The measuring chain as a plan needs it: input ranges, the generator's reach, its levels."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from backbench.documents.manifest import Manifest
from backbench.documents.settings import InForce, Settings, calibration_for
from backbench.documents.stimuli import Level
from backbench.errors import UserError
from backbench.ingest.analysis_plan import wanted_ranges

HEADROOM = 1.25
"""Of an input range above the greatest expected peak."""


@dataclass(frozen=True)
class Chain:
    """ranges: calibrations in force, the most sensitive first, without the generator's own.

    generator: the calibration whose track 1 is the generator at digital full scale.
    gain: output over generator EMF into the nominal load, a ratio; None where it isn't known yet.
    loaded: the same into other loads (ohm, or "open") that it was measured into.
    """

    ranges: tuple[InForce, ...]
    generator: InForce | None
    gain: float | None
    loaded: Mapping[float | str, float] = field(default_factory=dict)

    @property
    def full_scale_v(self) -> float | None:
        """Volts (peak) of the generator at digital full scale; None where it isn't known."""
        return self.generator.volts.get(1) if self.generator else None

    def level(self, out_vrms: float, load: float | str | None = None) -> Level:
        """Generator volts (rms) for volts at the output into a load."""
        gain = self.gain if load is None else self.loaded.get(load, self.gain)
        return "unknown" if gain is None else float(f"{out_vrms / gain:.3g}")

    def range_for(self, peak_v: float) -> str | None:
        """The most sensitive range that holds a peak with headroom; the widest where none does."""
        for held in self.ranges:
            if peak_v * HEADROOM <= min(held.volts.values()):
                return held.range
        return self.ranges[-1].range if self.ranges else None

    def holds(self, peak_v: float) -> bool:
        """Whether any range holds a peak."""
        return bool(self.ranges) and peak_v <= min(self.ranges[-1].volts.values())


def chain_of(
    manifest: Manifest,
    settings: Settings,
    gain_db: float | None,
    loaded_db: Mapping[float | str, float] | None = None,
) -> Chain:
    """The chain of a review's bench on its day. Raises UserError where there is no such bench."""
    bench, day = manifest.review.bench, manifest.review.date
    names = _ranges(settings, bench, day)
    held = [calibration_for(settings, bench, day, name) for name in names]
    if not held:
        calibration_for(settings, bench, day, None)
    own = settings.bench[bench].generator_range
    inputs = sorted((h for h in held if h.range != own or own is None), key=_reach)
    generator = next((h for h in held if own is not None and h.range == own), None)
    gain = None if gain_db is None else _ratio(gain_db)
    loaded = {load: _ratio(own_db) for load, own_db in (loaded_db or {}).items()}
    return Chain(tuple(inputs), generator, gain, loaded)


def _ratio(gain_db: float) -> float:
    return float(10 ** (gain_db / 20))


def _reach(held: InForce) -> float:
    return min(held.volts.values())


def _ranges(settings: Settings, bench: str, day: dt.date) -> list[str | None]:
    """Input ranges that have a calibration by the day."""
    if bench not in settings.bench:
        return []
    ranges = {c.range for c in settings.bench[bench].calibration if c.since <= day}
    return sorted(ranges, key=lambda name: name or "")


def expired(manifest: Manifest, settings: Settings) -> list[str]:
    """A line for each calibration in force on the review's day that ought to be done again."""
    try:
        chain = chain_of(manifest, settings, None)
    except UserError:
        return []
    in_force = [*chain.ranges, *([chain.generator] if chain.generator else [])]
    return list(_old(in_force, manifest.review.date, settings))


def expired_for_captures(manifest: Manifest, settings: Settings) -> list[str]:
    """As `expired`, for the ranges that the captures were taken with; missing ones pass."""
    bench, day = manifest.review.bench, manifest.review.date
    in_force = []
    for name in wanted_ranges(manifest):
        try:
            in_force.append(calibration_for(settings, bench, day, name))
        except UserError:
            continue
    return list(_old(in_force, day, settings))


def _old(in_force: Sequence[InForce], day: dt.date, settings: Settings) -> Iterator[str]:
    for held in in_force:
        (own,) = (
            c for c in settings.bench[held.bench].calibration
            if c.since == held.since and c.range == held.range
        )  # fmt: skip
        if own.good_until is not None and own.good_until < day:
            yield (
                f"calibration {held.key} was good until {own.good_until}; the review is of "
                f"{day}: calibrate again"
            )


def volts_of(power_w: float, load_ohm: float) -> float:
    """Volts (rms) across a load that take up a power."""
    return math.sqrt(power_w * load_ohm)
