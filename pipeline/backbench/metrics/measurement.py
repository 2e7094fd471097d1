"""All metrics and curves of one capture, each track viewed once."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from backbench.documents.stimuli import analysis_kind
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.bench_levels import loop_backs
from backbench.metrics.copied_tracks import refuse_copies
from backbench.metrics.declaration import CaptureData, Curve, MeasuredValue, Metric, View
from backbench.metrics.findings import Finding, Trace
from backbench.metrics.flat_crests import crest_remark
from backbench.metrics.level_part import LevelPart
from backbench.metrics.multitone import MultitoneView
from backbench.metrics.multitone_wavering import wavering_of_tones
from backbench.metrics.noise import IdleView
from backbench.metrics.registry import registry
from backbench.metrics.segments import Measured, looser, over_time
from backbench.metrics.steady_part import (
    SteadyPart,
    make_lines_ready,
    steady_part,
    unused_loop_back,
    with_steady_loop_backs,
)
from backbench.metrics.tone import ToneView
from backbench.metrics.two_tones_view import TwoTonesView
from backbench.metrics.unsteady_noise import Unsteady, in_segments, noise_change
from backbench.metrics.warnings import joined
from backbench.signal.side_by_side import recorded_together

TABLE_ONLY = (1,)
"""A table has no tracks; its one output is held at position 1."""


def measure(capture_data: CaptureData) -> Measured:
    """Everything that is declared for the capture's stimulus, on every output track.

    Raises Refusal where nothing is declared for it.
    """
    kind = analysis_kind(capture_data.stimulus)
    known = registry()
    if kind not in known.views:
        raise Refusal(f"captures of kind {kind!r} are kept, but nothing measures them yet")
    for one in (capture_data, *loop_backs(capture_data)):
        recorded_together([*one.outputs.values(), one.reference, one.generator])
    findings: list[Finding] = []
    traces: list[Trace] = []
    try:
        refuse_copies(capture_data)
    except Refusal as refusal:
        return [f for track in capture_data.outputs for f in _refused(kind, track, refusal)], []
    tracks = tuple(capture_data.outputs or TABLE_ONLY)
    seen = _each_seen(kind, capture_data, tracks)
    whole = _side_by_side(kind, seen)
    for track, looked_at in seen.items():
        results, drawn = _of_track(kind, track, looked_at, whole)
        findings += results
        traces += drawn
    return findings, traces


class Seen(NamedTuple):
    """One output's track, looked at: the part in which it holds still, its view, and whether its
    noise is unsteady."""

    steady: SteadyPart
    view: Any
    unsteady: Unsteady | None


def _each_seen(
    kind: str, capture_data: CaptureData, tracks: Sequence[int]
) -> dict[int, Seen | Refusal]:
    """Every output looked at, or why it can't be.

    All of them step by step: what has just been done for one is done for the next in less time.
    """
    make_lines_ready(capture_data, tracks)
    steady = {t: _refusable(_steady, capture_data, t) for t in tracks}
    views = _views(registry().views[kind], steady)
    return {t: _seen(kind, capture_data, t, steady[t], views.get(t)) for t in tracks}


def _refusable(given: Callable[[CaptureData, int], Any], capture_data: CaptureData, t: int) -> Any:
    """What is given for an output, or the Refusal that is raised there."""
    try:
        return given(capture_data, t)
    except Refusal as refusal:
        return refusal


def _views(view: View, steady: dict[int, SteadyPart | Refusal]) -> dict[int, Any]:
    """The view of each output, or the Refusal that is raised there."""
    parts = {t: p.capture_data for t, p in steady.items() if isinstance(p, SteadyPart)}
    if view.steps is None:
        return {t: _refusable(view.build, part, t) for t, part in parts.items()}
    views, running = {}, {t: view.steps(part, t) for t, part in parts.items()}
    while running:
        for t, steps in [*running.items()]:
            try:
                next(steps)
                continue
            except StopIteration as end:
                views[t] = end.value
            except Refusal as refusal:
                views[t] = refusal
            del running[t]
    return views


def _steady(capture_data: CaptureData, track: int) -> SteadyPart:
    return steady_part(with_steady_loop_backs(capture_data, track), track)


def _seen(
    kind: str, capture_data: CaptureData, track: int, steady: SteadyPart | Refusal, view: Any
) -> Seen | Refusal:
    """An output with its remarks; the first of both refusals where there is one."""
    if isinstance(steady, Refusal) or isinstance(view, Refusal):
        return steady if isinstance(steady, Refusal) else view
    own = _of_view(kind, capture_data, track, view)
    remark = joined(steady.remark, _of_file(capture_data, track), *own)
    return Seen(steady._replace(remark=remark), view, noise_change(view))


def _side_by_side(kind: str, seen: dict[int, Seen | Refusal]) -> dict[int, Measured]:
    """All that is declared for a kind, of outputs that hold still: metric by metric."""
    still = {t: one.view for t, one in seen.items() if isinstance(one, Seen) and not one.unsteady}
    if registry().views[kind].parts:
        return {t: _measured(kind, view, t) for t, view in still.items()}
    found: dict[int, list[Finding]] = {t: [] for t in still}
    for metric in registry().measured_from(kind):
        for t, view in still.items():
            found[t] += _measured_one(metric, view, t)
    traces: dict[int, list[Trace]] = {t: [] for t in still}
    for curve in registry().traced_from(kind):
        for t, view in still.items():
            traces[t] += _traced_one(curve, view, t)
    return {t: (found[t], traces[t]) for t in still}


def _of_track(kind: str, track: int, seen: Seen | Refusal, whole: dict[int, Measured]) -> Measured:
    """All that is declared for a kind, on one output."""
    if isinstance(seen, Refusal):
        return _refused(kind, track, seen), []
    if seen.unsteady is not None:
        return _averaged(kind, seen.steady, track, seen.view, seen.unsteady)
    results, traces = whole[track]
    remark = joined(seen.steady.remark, seen.steady.capture_data.table_remark)
    return [remarked(f, remark) for f in results], traces


def _of_file(capture_data: CaptureData, track: int) -> str | None:
    """What was odd about the file that an output was recorded in."""
    return capture_data.outputs[track].remark if track in capture_data.outputs else None


def _of_view(kind: str, capture_data: CaptureData, track: int, view: Any) -> Iterator[str | None]:
    """Remarks that every figure of a view carries."""
    if isinstance(view, IdleView):
        yield view.remark
    if isinstance(view, MultitoneView):
        yield wavering_of_tones(view)
    driven = not isinstance(view, ToneView) or view.driven
    if isinstance(view, ToneView | TwoTonesView | MultitoneView) and driven:
        yield crest_remark(view.track)
    if isinstance(view, IdleView | ToneView | TwoTonesView) and driven:
        build = registry().views[kind].build
        yield unused_loop_back(capture_data, track, build, len(view.benches))


def _averaged(kind: str, steady: SteadyPart, track: int, view: Any, unsteady: Unsteady) -> Measured:
    """Means over segments of a capture whose noise isn't steady, by how they scatter.

    A record too short for segments is measured whole: what the record adds to the uncertainty
    is as many times greater as the noise scatters more than steady noise.
    """
    known = registry()
    text = joined(steady.remark, unsteady.why)
    if unsteady.whole:
        return _whole(kind, track, view, unsteady, text)
    try:
        segments = in_segments(steady.capture_data, track)
        views = [known.views[kind].build(part, track) for part in segments.parts]
    except Refusal as refusal:
        if not math.isfinite(unsteady.times):
            return _refused(kind, track, Refusal(f"{unsteady.why}; {refusal}")), []
        return _whole(kind, track, view, unsteady, text)
    each = [_measured(kind, view, track) for view in views]
    averaged, traces = over_time(each, independent=segments.independent)
    # What the whole record rules out, a part of it may be too short to show.
    refused = {f.metric.name: f for f in _measured(kind, view, track)[0] if f.status == "rejected"}
    kept = [remarked(f, text) for f in averaged if f.metric.name not in refused]
    return [*kept, *refused.values()], traces


def _whole(kind: str, track: int, view: Any, unsteady: Unsteady, text: str | None) -> Measured:
    """The whole record, what it adds to the uncertainty so many times greater."""
    results, traces = _measured(kind, view, track)
    return [remarked(_widened(f, unsteady), text) for f in results], traces


def _widened(finding: Finding, unsteady: Unsteady) -> Finding:
    """A finding whose record adds so many times more to its uncertainty; a bound as it is where
    the noise is loudest, as nothing is known of what was there when it was quiet."""
    figure = finding.figure
    if figure is None:
        return finding
    if figure.bound is not None:
        figure = figure.but(value=looser(finding.metric, figure, unsteady.span_db))
    own = figure.estimation * unsteady.times
    whole = math.sqrt(max(figure.uncertainty**2 - figure.estimation**2, 0.0) + own**2)
    return replace(finding, figure=figure.but(uncertainty=whole, estimation=own))


def _measured(kind: str, view: Any, track: int) -> Measured:
    """All that is declared for a kind, of one view."""
    known = registry()
    if known.views[kind].parts:
        findings = [finding for part in view for finding in _of_part(kind, part, track)]
    else:
        findings = [f for m in known.measured_from(kind) for f in _measured_one(m, view, track)]
    curves = registry().traced_from(kind)
    return findings, [trace for curve in curves for trace in _traced_one(curve, view, track)]


def remarked(finding: Finding, remark: str | None) -> Finding:
    """A finding whose figure carries a further remark."""
    if finding.figure is None or remark is None:
        return finding
    text = joined(finding.figure.remark, remark)
    return replace(finding, figure=finding.figure.but(remark=text), reason=text)


def _refused(kind: str, track: int, refusal: Refusal) -> list[Finding]:
    metrics = registry().measured_from(kind)
    return [Finding(m, track, "rejected", None, str(refusal)) for m in metrics]


def _of_part(kind: str, part: LevelPart, track: int) -> list[Finding]:
    """Everything of one level, each finding with the level's drive and measured power."""
    if isinstance(part.view, Refusal):
        findings = _refused(kind, track, part.view)
    else:
        metrics = registry().measured_from(kind)
        findings = [f for m in metrics for f in _measured_one(m, part.view, track)]
    powers = [f.figure.value for f in findings if f.metric.name == "output_power" and f.figure]
    power = powers[0] if powers else part.power_w
    drive, row = part.generator_vrms, part.number
    return [replace(f, generator_vrms=drive, power_w=power, row=row) for f in findings]


def _measured_one(metric: Metric, view: Any, track: int) -> list[Finding]:
    assert metric.measure is not None
    try:
        given = metric.measure(view)
        figures = [given] if isinstance(given, MeasuredValue) else list(given)
    except Refusal as refusal:
        return [Finding(metric, track, "rejected", None, str(refusal))]
    except NotApplicable as reason:
        return [Finding(metric, track, "not_applicable", None, str(reason))]
    return [
        Finding(metric, track, "at_floor" if figure.bound else "measured", figure, figure.remark)
        for figure in figures
    ]


def _traced_one(curve: Curve, view: Any, track: int) -> Iterator[Trace]:
    assert curve.trace is not None
    with contextlib.suppress(Refusal, NotApplicable):
        data = curve.trace(view)
        yield Trace(curve.name, curve.version, track, curve.x_unit, curve.y_unit, data)


__all__ = ["Finding", "Trace", "measure"]
