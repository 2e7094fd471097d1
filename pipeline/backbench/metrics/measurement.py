"""All metrics and curves of one capture, each track viewed once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from backbench.documents.stimuli import analysis_kind
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.copied_tracks import refuse_copies
from backbench.metrics.declaration import CaptureData, CurveData, MeasuredValue, Metric, Part
from backbench.metrics.registry import registry

TABLE_ONLY = (1,)
"""A table has no tracks; its one output is held at position 1."""


@dataclass(frozen=True)
class Finding:
    """What one metric gave on one track: a figure, or a status with its reason.

    generator_vrms, power_w: of the part of the capture that it was found in, where the capture
        holds several levels.
    """

    metric: Metric
    track: int
    status: str
    figure: MeasuredValue | None
    reason: str | None
    generator_vrms: float | None = None
    power_w: float | None = None


@dataclass(frozen=True, eq=False)
class Trace:
    """A curve of one track."""

    name: str
    version: int
    track: int
    x_unit: str
    y_unit: str
    data: CurveData


def measure(capture_data: CaptureData) -> tuple[list[Finding], list[Trace]]:
    """Everything that is declared for the capture's stimulus, on every output track.

    Raises Refusal where nothing is declared for it.
    """
    kind = analysis_kind(capture_data.stimulus)
    known = registry()
    if kind not in known.views:
        raise Refusal(f"captures of kind {kind!r} are kept, but nothing measures them yet")
    findings: list[Finding] = []
    traces: list[Trace] = []
    try:
        refuse_copies(capture_data)
    except Refusal as refusal:
        return [f for track in capture_data.outputs for f in _refused(kind, track, refusal)], []
    for track in capture_data.outputs or TABLE_ONLY:
        try:
            view = known.views[kind].build(capture_data, track)
        except Refusal as refusal:
            findings += _refused(kind, track, refusal)
            continue
        if known.views[kind].parts:
            findings += [finding for part in view for finding in _of_part(kind, part, track)]
        else:
            findings += [f for m in known.measured_from(kind) for f in _asked(m, view, track)]
        traces += list(_traced(kind, view, track))
    return findings, traces


def _refused(kind: str, track: int, refusal: Refusal) -> list[Finding]:
    metrics = registry().measured_from(kind)
    return [Finding(m, track, "rejected", None, str(refusal)) for m in metrics]


def _of_part(kind: str, part: Part, track: int) -> list[Finding]:
    """Everything of one level, each finding with the level's drive and measured power."""
    if isinstance(part.view, Refusal):
        found = _refused(kind, track, part.view)
    else:
        metrics = registry().measured_from(kind)
        found = [f for m in metrics for f in _asked(m, part.view, track)]
    powers = [f.figure.value for f in found if f.metric.name == "output_power" and f.figure]
    power = powers[0] if powers else None
    return [replace(f, generator_vrms=part.generator_vrms, power_w=power) for f in found]


def _asked(metric: Metric, view: Any, track: int) -> Iterator[Finding]:
    assert metric.measure is not None
    try:
        given = metric.measure(view)
        figures = [given] if isinstance(given, MeasuredValue) else list(given)
    except Refusal as refusal:
        yield Finding(metric, track, "rejected", None, str(refusal))
    except NotApplicable as reason:
        yield Finding(metric, track, "not_applicable", None, str(reason))
    else:
        for figure in figures:
            status = "at_floor" if figure.bound else "measured"
            yield Finding(metric, track, status, figure, figure.remark)


def _traced(kind: str, view: Any, track: int) -> Iterator[Trace]:
    for curve in registry().traced_from(kind):
        assert curve.trace is not None
        try:
            data = curve.trace(view)
        except (Refusal, NotApplicable):
            continue
        yield Trace(curve.name, curve.version, track, curve.x_unit, curve.y_unit, data)


__all__ = ["Finding", "Trace", "measure"]
