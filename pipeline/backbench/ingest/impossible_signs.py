"""Amounts that were written with a minus sign."""

from __future__ import annotations

from collections.abc import Iterator

from backbench.errors import Fault
from backbench.metrics.declaration import Metric


def sign_faults(value: float, metric: Metric, where: str) -> Iterator[Fault]:
    """A fault where a figure of a metric that has no sign is negative."""
    if value < 0 and not metric.may_be_negative:
        yield Fault(where, f"a negative {metric.title}", "zero or more", "take the minus sign out")
