"""What a step of a bench means for a comparison that lies across it.

A step matters to a metric only if it can touch it: a change of the loop-back's gain moves whatever
is given in volts, watts or decibels of gain, and no ratio of two levels of one capture; its
distortion adds to distortion, its noise to noise. And it matters only where it isn't small against
what is compared: the difference of two units, or the expanded uncertainty of that difference where
that is larger.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from backbench.comparison import drift
from backbench.comparison.standings import Standing
from backbench.metrics.declared_traits import declarations
from backbench.metrics.traits import Traits
from backbench.quantities.writing import in_text, ordinary, signed

SMALL = 0.1
"""A step below this part of the difference compared is not reported."""
ONE_WATT_V = math.sqrt(8.0)


def effect(step: drift.LevelChange, metric: str, value: float) -> float | None:
    """How far a step may move a reading, in the metric's unit; None where it can't touch it.

    Distortion is taken to add in full, noise by its square; a change of gain moves volts and
    watts in proportion.
    """
    traits = declarations().traits(metric)
    if step.series.startswith("loop-back gain"):
        return _by_gain(step.change, traits, value)
    if step.series.startswith("loop-back THD+N"):
        return abs(step.change) if traits.bench_distortion else None
    if step.series.startswith("loop-back noise"):
        return _by_noise(step, traits, value)
    return None


def _by_gain(decibels: float, traits: Traits, value: float) -> float | None:
    if traits.bench_gain == "volts":
        return abs(value) * abs(10 ** (decibels / 20) - 1)
    if traits.bench_gain == "watts":
        return abs(value) * abs(10 ** (decibels / 10) - 1)
    return abs(decibels) if traits.bench_gain == "decibels" else None


def _by_noise(step: drift.LevelChange, traits: Traits, value: float) -> float | None:
    added = abs(step.last**2 - step.first**2) * 1e-12  # the series is in microvolts
    if traits.bench_noise == "volts":
        return math.hypot(value, math.sqrt(added)) - abs(value)
    if traits.bench_noise == "ratio to 1 W":
        noise = ONE_WATT_V / 10 ** (value / 20)
        return 20 * math.log10(math.hypot(noise, math.sqrt(added)) / noise)
    return None


def drift_warnings(
    steps: Sequence[drift.LevelChange],
    lines: Sequence[Standing],
    among: Sequence[Mapping[str, Any]],
) -> list[str]:
    """A warning for each step of a bench that lies between this unit's readings and a peer's,
    and matters: with the metrics, and to how many peers."""
    notes = []
    for step in steps:
        counts = {_name(line): len(_across(step, line, among)) for line in lines}
        touched = [f"{name} ({n} peer{'s' * (n != 1)})" for name, n in counts.items() if n]
        if touched:
            notes.append(
                f"bench {step.bench_key}: {step.series} moved by "
                f"{ordinary(signed(step.change, step.unit))} between {step.before} and "
                f"{step.after}, more than a tenth of the difference to peers on the other side: "
                f"{', '.join(touched)}"
            )
    return notes


def _name(line: Standing) -> str:
    return line.title + (f" at {in_text(line.limit_percent, '%', 6)}" if line.limit_percent else "")


def _across(
    step: drift.LevelChange, line: Standing, rows: Sequence[Mapping[str, Any]]
) -> list[Mapping[str, Any]]:
    """The peers' readings on the other side of a step that matters to their difference."""
    change = effect(step, line.metric, line.value)
    if not change:
        return []
    same = [r for r in rows if (r["metric"], r["point_key"], r["limit_percent"]) ==
            (line.metric, line.point_key, line.limit_percent)]  # fmt: skip
    own = next((r for r in same if r["unit_key"] == line.unit_key), None)
    if own is None or own["bench_key"] != step.bench_key:
        return []
    return [
        r for r in same
        if r["bench_key"] == step.bench_key and step.spans(own["reviewed"], r["reviewed"])
        and change > SMALL * _compared(own, r)
    ]  # fmt: skip


def _compared(own: Mapping[str, Any], other: Mapping[str, Any]) -> float:
    """The difference of two readings, or its expanded uncertainty where that is larger."""
    expanded = 2 * math.hypot(own["uncertainty"] or 0.0, other["uncertainty"] or 0.0)
    return max(abs(float(own["value"]) - float(other["value"])), expanded)
