"""Typed figures of old records as rows of the catalogue."""

from __future__ import annotations

import math

from backbench.documents.manifest import Entered
from backbench.ingest.analysis_plan import PlannedReview
from backbench.ingest.entered_figures import entered_key, written_value
from backbench.ingest.reading_rows import Row, canonical, digest
from backbench.metrics.registry import registry
from backbench.metrics.traits import Traits
from backbench.quantities.writing import exact


def entered_rows(planned: PlannedReview, environment_key: str) -> dict[str, list[Row]]:
    """The rows of a review's entered readings, by table."""
    figures = planned.manifest.entered
    if not figures:
        return {}
    review, analysis_key = planned.key, digest("entered", planned.key)
    return {
        "reading": [_reading(review, analysis_key, one) for one in figures],
        "entered": [
            {"reading_key": entered_key(review, one), "review_key": review, "written": one.value,
             "origin": one.origin} for one in figures
        ],
        "analysis": [{
            "analysis_key": analysis_key, "review_key": review, "environment_key": environment_key
        }],
        "analysis_capture": [
            {"analysis_key": analysis_key, "review_key": review, "sha256": sha256}
            for sha256 in _sources(planned)
        ],
    }  # fmt: skip


def _sources(planned: PlannedReview) -> list[str]:
    """What the figures were typed from, as far as it is kept: the manifest at the least."""
    captures = {capture.capture.file for capture in planned.captures}
    captures |= {entry.name for entry in planned.manifest.refused if entry.table == "capture"}
    files = planned.receipt.files.items()
    kept = {file.sha256 for name, file in files if name not in captures and file.sha256}
    return sorted({*kept, planned.receipt.manifest})


def _reading(review_key: str, analysis_key: str, figure: Entered) -> Row:
    written, at = written_value(figure), figure.at
    metric = registry().metrics[figure.metric]
    return {
        "reading_key": entered_key(review_key, figure), "review_key": review_key,
        "analysis_key": analysis_key, "unit_key": figure.unit, "output": figure.output,
        "metric": metric.name, "method_version": metric.version,
        "stimulus": metric.usual_stimulus, "frequency_hz": at.frequency_hz, "power_w": at.power_w,
        "load_ohm": at.load_ohm, "load_kind": "resistor" if at.load_ohm else None,
        "order_n": figure.order, "limit_percent": at.limit_percent,
        "detail": canonical({} if at.band_hz is None else {"band": _band(at.band_hz)}),
        "value": written.value, "bound": written.bound, "status": "entered",
        "uncertainty": _uncertainty(figure, written.value, metric.traits),
    }  # fmt: skip


def _uncertainty(figure: Entered, value: float, traits: Traits) -> float | None:
    """The one that the entry states, else the instrument's; None where neither is known."""
    if figure.uncertainty_percent is not None:
        return abs(value) * figure.uncertainty_percent / 100
    u = math.hypot(traits.entered_u, abs(value) * traits.entered_u_percent / 100)
    return u or None


def _band(band_hz: list[float]) -> str:
    return f"{exact(band_hz[0], 'Hz')} to {exact(band_hz[1], 'Hz')}"
