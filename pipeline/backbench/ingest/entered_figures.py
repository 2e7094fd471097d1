"""Readings typed from old records: their rows, beside those that were measured."""

from __future__ import annotations

from collections.abc import Iterator

from backbench.documents.file_names import MANIFEST_NAME
from backbench.documents.manifest import Entered, Manifest
from backbench.documents.refused_entries import PlacedFault
from backbench.errors import Fault
from backbench.ingest.impossible_signs import sign_faults
from backbench.ingest.reading_rows import digest
from backbench.metrics.metric_names import unknown_metric
from backbench.metrics.registry import registry
from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.reading import ParsedQuantity, read_quantity


def entered_faults(manifest: Manifest) -> Iterator[PlacedFault]:
    """Entered figures of unknown metrics, that can't be read, or that stand twice."""
    seen: dict[str, int] = {}
    for position, figure in manifest.numbered(manifest.entered, "entered"):
        place, where = ("entered", position), f"{MANIFEST_NAME}, entered {position}"
        faults = list(_faults(figure, where))
        yield from ((place, fault) for fault in faults)
        if faults:
            continue
        other = seen.setdefault(entered_key(manifest.review.key, figure), position)
        if other != position:
            yield place, Fault(where, f"the same as entered {other}", "each once", "take one out")


def _faults(figure: Entered, where: str) -> Iterator[Fault]:
    known = registry().metrics
    if figure.metric not in known:
        yield unknown_metric(where, figure.metric)
        return
    metric = known[figure.metric]
    try:
        yield from sign_faults(written_value(figure).value, metric, where)
    except UnreadableQuantity as error:
        yield error.fault(where, f"a number with a unit that turns into {metric.unit!r}")


def written_value(figure: Entered) -> ParsedQuantity:
    """The figure in its metric's unit. Raises UnreadableQuantity."""
    unit = registry().metrics[figure.metric].unit
    return read_quantity(figure.value, unit, load_ohm=figure.at.load_ohm)


def entered_key(review_key: str, figure: Entered) -> str:
    """Key of the reading that a typed figure gives."""
    metric = registry().metrics[figure.metric]
    place = [figure.unit, figure.output, figure.at.model_dump(), figure.order]
    return digest("entered", review_key, metric.name, metric.version, place)
