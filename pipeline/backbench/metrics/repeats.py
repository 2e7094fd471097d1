"""Captures of a review held against each other: repeats of one, and gains that must agree."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from operator import attrgetter

from backbench.metrics.declaration import MeasuredValue, derived
from backbench.metrics.session import Derived, Reading, Session, grouped, limited
from backbench.metrics.session_spreads import LEVELS
from backbench.metrics.traits import Traits
from backbench.metrics.warnings import warning
from backbench.quantities.writing import in_text
from backbench.signal.uncertainty import spread

FAMILY = "Repeatability and warm-up"

REPEATED = {
    "level": "output level", "gain": "gain", "thd": "harmonic distortion",
    "thd_n": "distortion and noise", "noise": "residual noise", "noise_a": "A-weighted noise",
}  # fmt: skip
DECIBELS = {"gain"}
SETTINGS = (
    "metric", "unit_key", "output", "stimulus", "frequency_hz", "load_ohm", "load_kind",
    "generator_vrms", "input", "tap", "volume", "controls", "driven", "calibration_key",
    "minutes_on",
)  # fmt: skip


@derived(
    "repeatability",
    title="Repeatability",
    unit="%",
    better="lower",
    source="JCGM 100:2008, 4.2 (type A evaluation)",
    version=1,
    choice="where a capture was taken twice or more with everything stated alike: sample standard "
    "deviation re the mean (a gain as a ratio), of the reading that detail names; given beside the "
    "readings, whose own uncertainty stays that of a single capture",
)
def repeatability(session: Session) -> Iterator[Derived]:
    """Standard deviation of repeated captures of one reading, in percent of their mean."""
    for metric, title in REPEATED.items():
        usable = [r for r in session.of(metric) if r.bound is None and r.analysis_key]
        for same in grouped(usable, attrgetter(*SETTINGS)).values():
            taken = {r.analysis_key: r for r in reversed(same)}
            if len(taken) > 1:
                yield _spread_of(metric, title, [*taken.values()][::-1])


def _spread_of(metric: str, title: str, same: list[Reading]) -> Derived:
    values = [r.value or 0.0 for r in same]
    if metric in DECIBELS:
        values = [10 ** (value / 20) for value in values]
    mean, deviation = spread(values)
    dof = len(values) - 1
    value = 100 * deviation / mean
    # Of a standard deviation from n values: 1 / sqrt(2 (n - 1)) of itself (GUM, E.4.3).
    u = value / math.sqrt(2 * dof)
    figure = MeasuredValue(value, u, u, dof, detail={"of": title, "captures": str(len(values))})
    return Derived(figure, same[0], tuple(same))


STRANGE_DB = 1.0
COMPRESSED_DB = 3.0
"""Below limiting, the gain falls by less: common practice, no source."""
REPEATED_DB = 0.3
"""Between captures of one drive and load: common practice, no source."""


@derived(
    "gain_spread",
    title="Spread of gain between captures",
    unit="dB",
    better="lower",
    source="common practice, no source",
    version=1,
    choice="greatest less least gain of one output at one frequency, load and setting, over all "
    "drives below limiting; more than 1 dB hints at a drive, load or track stated wrongly, or at "
    "compression: the remark names the drives",
    traits=Traits(session_spread=LEVELS),
)
def gain_spread(session: Session) -> Iterator[Derived]:
    """Greatest less least gain among captures that should have the same."""
    gains = [r for r in session.of("gain", stimulus="tone", driven=None) if r.bound is None]
    alike = [n for n in SETTINGS if n not in ("metric", "generator_vrms", "calibration_key")]
    for same in grouped(gains, lambda r: tuple(getattr(r, n) for n in alike)).values():
        sound = [r for r in same if not limited(session, r)]
        if len(sound) > 1:
            yield _widest(sound)


def _widest(sound: list[Reading]) -> Derived:
    """Over all drives, with a warning where captures contradict each other.

    Where those of one drive do and the rest don't, the warning is of them.
    """
    over_all = _between(sound)
    remark = _strange(over_all, STRANGE_DB)
    if remark is not None and _may_compress(over_all):
        return _remarked(over_all, remark)
    if remark is not None:
        return _remarked(over_all, warning(remark))
    for one in grouped(sound, attrgetter("generator_vrms")).values():
        between = _between(one)
        remark = _strange(between, REPEATED_DB)
        if remark is not None:
            made_from = (*over_all.made_from, *between.made_from)
            return replace(_remarked(over_all, warning(remark)), made_from=made_from)
    return over_all


def _between(sound: list[Reading]) -> Derived:
    """From the captures of the greatest and of the least gain, in that order."""
    least = min(sound, key=lambda r: r.value or 0.0)
    most = max(sound, key=lambda r: r.value or 0.0)
    value = (most.value or 0.0) - (least.value or 0.0)
    own = math.hypot(most.estimation or 0.0, least.estimation or 0.0)
    whole = math.hypot(most.uncertainty or 0.0, least.uncertainty or 0.0)
    return Derived(MeasuredValue(value, whole, own), most, (most, least))


def _strange(difference: Derived, limit_db: float) -> str | None:
    """What to look at where gains differ by more than a unit's own would; None else."""
    if difference.figure.value <= max(limit_db, 2 * difference.figure.uncertainty):
        return None
    drives = [
        in_text(r.generator_vrms, "V", 3) if r.generator_vrms else "a drive that isn't stated"
        for r in difference.made_from[::-1]
    ]
    return (
        f"{in_text(difference.figure.value, 'dB', 2)} between the captures at "
        f"{' and '.join(dict.fromkeys(drives))}: check their drive, range and load"
    )


def _may_compress(difference: Derived) -> bool:
    """Whether the gain is the less at the greater drive, by no more than a unit's would be."""
    most, least = difference.made_from
    falls = (least.generator_vrms or 0.0) > (most.generator_vrms or 0.0)
    return falls and difference.figure.value <= COMPRESSED_DB


def _remarked(difference: Derived, remark: str) -> Derived:
    return replace(difference, figure=replace(difference.figure, remark=remark))
