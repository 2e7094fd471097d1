"""Amounts that were written with a minus sign."""

from __future__ import annotations

from collections.abc import Iterator

from backbench.errors import Fault
from backbench.metrics.declaration import Metric


def sign_faults(value: float, metric: Metric, where: str) -> Iterator[Fault]:
    """A fault where a figure of a metric that has no sign is negative."""
    if value < 0 and not _has_sign(metric):
        yield Fault(where, f"a negative {metric.title}", "zero or more", "take the minus sign out")


def _has_sign(metric: Metric) -> bool:
    """Levels, angles, offsets and errors have a sign; amounts have none but by declaration."""
    by_unit = metric.unit.startswith("dB") or metric.unit in {"deg", "ppm"}
    is_plain_sign = (metric.unit, metric.better) == ("1", "neither")
    is_error = metric.better == "nearer zero"
    return by_unit or is_plain_sign or is_error or metric.traits.has_sign
