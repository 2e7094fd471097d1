"""The reviewer's own metrics that are in force: those of the catalogue that was opened last."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # whoever only opens a catalogue needs none of the numerics behind it
    from backbench.metrics.declaration import Metric

_own: list[Metric] = []


def use_own_metrics(metrics: Iterable[Metric]) -> None:
    """Bring these into force, in place of those before."""
    _own[:] = metrics


def own_metrics() -> tuple[Metric, ...]:
    """Those in force, in the order of the settings."""
    return tuple(_own)
