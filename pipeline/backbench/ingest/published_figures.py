"""Published figures: the limit as printed, turned into the metric's unit."""

from __future__ import annotations

from collections.abc import Iterator

from backbench.documents.manifest import MANIFEST_NAME, Manifest
from backbench.documents.refused_entries import PlacedFault
from backbench.documents.unit_facts import PublishedFigure
from backbench.errors import Fault
from backbench.ingest.impossible_signs import sign_faults
from backbench.metrics.metric_names import unknown_metric
from backbench.metrics.registry import registry
from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.reading import read_quantity

BOUNDS = {"at most": "upper", "at least": "lower"}


def limit_value(figure: PublishedFigure, unit: str) -> float:
    """A published limit in a metric's unit: "0.5 mV" in V is 0.0005.

    Raises UnreadableQuantity, also where the limit is marked as the other side.
    """
    side, text = printed_limit(figure)
    written = read_quantity(text, unit, load_ohm=figure.at.load_ohm)
    if written.bound is not None and written.bound != BOUNDS[side]:
        raise UnreadableQuantity(text, f"contradicts {side!r}", "write the limit alone")
    return written.value


def printed_limit(figure: PublishedFigure) -> tuple[str, str]:
    """Side and text of a published limit."""
    if figure.at_most is not None:
        return "at most", figure.at_most
    assert figure.at_least is not None
    return "at least", figure.at_least


def published_faults(manifest: Manifest) -> Iterator[PlacedFault]:
    """Published figures of unknown metrics, or with limits that can't be read."""
    for unit, place, figure in manifest.published():
        where = f"{MANIFEST_NAME}, unit {unit.key!r}, published {place[-1]}"
        for fault in _faults(figure, where):
            yield place, fault


def _faults(figure: PublishedFigure, where: str) -> Iterator[Fault]:
    metrics = registry().metrics
    if figure.metric not in metrics:
        yield unknown_metric(where, figure.metric)
        return
    metric = metrics[figure.metric]
    try:
        yield from sign_faults(limit_value(figure, metric.unit), metric, where)
    except UnreadableQuantity as error:
        yield error.fault(where, f"a number with a unit that turns into {metric.unit!r}")
