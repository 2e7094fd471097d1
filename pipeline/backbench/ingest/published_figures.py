"""Published figures of a manifest: what is wrong with them."""

from __future__ import annotations

from collections.abc import Iterator

from backbench.documents.file_names import MANIFEST_NAME
from backbench.documents.manifest import Manifest
from backbench.documents.refused_entries import PlacedFault
from backbench.documents.specifications import limit_value
from backbench.documents.unit_facts import PublishedFigure
from backbench.errors import Fault
from backbench.ingest.impossible_signs import sign_faults
from backbench.metrics.metric_names import unknown_metric
from backbench.metrics.registry import registry
from backbench.quantities.faults import UnreadableQuantity


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
