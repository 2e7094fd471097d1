"""Findings of the segments of one long recording, made one: means over time.

A steady stimulus is the same all along, so each segment measures the same quantities, and the
recording's are their means. What the segments' uncertainties hold (calibration, load, what hides
in a line) may be common to all and isn't made smaller by averaging; how the segments scatter is
added as the standard error of their mean (GUM, 4.2.3 and 5.1.2).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from statistics import median_low
from typing import Any, NamedTuple

import numpy as np

from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declaration import CurveData, MeasuredValue, Metric
from backbench.metrics.findings import Finding, Trace
from backbench.metrics.warnings import joined
from backbench.quantities.writing import in_text
from backbench.signal.track import Array
from backbench.signal.uncertainty import Contribution, combine, spread

Measured = tuple[list[Finding], list[Trace]]


class Scale(NamedTuple):
    """To a quantity whose mean over time is that of the whole recording, and back."""

    to: Callable[[Any], Any]
    back: Callable[[Any], Any]


def _exponential(rate: float) -> Scale:
    return Scale(lambda x: np.exp(rate * x), lambda x: np.log(x) / rate)


PLAIN = Scale(lambda x: x, lambda x: x)
SQUARE = Scale(np.square, np.sqrt)
DECIBELS = _exponential(math.log(10) / 10)
DECIBELS_DOWN = _exponential(-math.log(10) / 10)
BITS = _exponential(-math.log(4))
LOGARITHMIC = {"dB": 1.0, "bit": 1 / (20 * math.log10(2))}
"""Of a decibel in each unit."""
TURN = 360.0
NOT_RMS = frozenset({"dc_offset", "noise_arm"})
"""Volts that have a sign, or are by definition the mean of a meter's reading."""
HIGHEST = frozenset({"noise_468"})
"""By definition a meter's highest reading: of all segments the highest."""


def over_time(segments: Iterable[Measured], independent: float | None = None) -> Measured:
    """Findings and curves of a recording from those of its segments, of equal length and in order.

    A metric that a segment refuses, or for which it gives other figures than the first, is refused;
    one that has no meaning in a segment has none. One segment alone is returned as it is.
    independent: number of segments without overlap that would tell as much, where they overlap.
    """
    measured = list(segments)
    if len(measured) == 1:
        return measured[0]
    keys = {(f.metric, f.track): None for findings, _ in measured for f in findings}
    together: list[Finding] = []
    for metric, track in keys:
        each = [[f for f in own if (f.metric, f.track) == (metric, track)] for own, _ in measured]
        together += _metric_over_time(metric, track, each, independent)
    return together, _curves_over_time([traces for _, traces in measured])


def _metric_over_time(
    metric: Metric, track: int, each: list[list[Finding]], independent: float | None
) -> list[Finding]:
    """One metric on one track. each: its findings by segment."""
    if all(f.status == "not_applicable" for values in each for f in values):
        return each[0]
    try:
        figures = [
            _highest(metric, same, independent)
            if metric.name in HIGHEST
            else _mean(metric, same, independent)
            for same in zip(*_alike(each), strict=True)
        ]
    except Refusal as refusal:
        return [Finding(metric, track, "rejected", None, str(refusal))]
    except NotApplicable as reason:
        return [Finding(metric, track, "not_applicable", None, str(reason))]
    return [
        Finding(metric, track, "at_floor" if f.bound else "measured", f, f.remark) for f in figures
    ]


def _alike(each: list[list[Finding]]) -> list[list[MeasuredValue]]:
    """The figures by segment. Raises Refusal or NotApplicable where a segment lacks one."""
    for status, error in (("rejected", Refusal), ("not_applicable", NotApplicable)):
        for n, values in enumerate(each, start=1):
            for finding in values:
                if finding.status == status:
                    raise error(f"in segment {n} of {len(each)}: {finding.reason}")
    figures = [[f.figure for f in values if f.figure is not None] for values in each]
    for n, own in enumerate(figures, start=1):
        if [_kind(figure) for figure in own] != [_kind(figure) for figure in figures[0]]:
            raise Refusal(
                f"segment {n} of {len(each)} doesn't give the figures that the first does"
            )
    return figures


def _kind(figure: MeasuredValue) -> object:
    """What tells a metric's figures of one capture apart, but for a frequency that was found."""
    return figure.order, figure.limit_percent, figure.detail


def _mean(
    metric: Metric, figures: Sequence[MeasuredValue], independent: float | None
) -> MeasuredValue:
    """One figure from that of every segment. Raises Refusal where no mean has a meaning."""
    n, values, scale = len(figures), _values(metric, figures), _scale(metric)
    value = float(scale.back(np.mean(scale.to(values))))
    alone = independent or n
    scatter = Contribution(spread(values.tolist())[1] / math.sqrt(alone), max(alone - 1, 1))
    shared = Contribution(_rms([f.uncertainty for f in figures]), min(f.dof for f in figures))
    total = combine([shared, scatter])
    places = [f.frequency_hz for f in figures if f.frequency_hz is not None]
    bound = next((f.bound for f in figures if f.bound), None)
    if bound is not None and independent is not None:
        # Of noise that comes and goes: where it is away, what it hides may be away, too.
        value = float(values.max() if bound == "upper" else values.min())
    nearest = figures[int(np.argmin(np.abs(values - value)))]
    return replace(
        nearest,
        value=math.remainder(value, TURN) if metric.unit == "deg" else value,
        uncertainty=total.u,
        estimation=math.hypot(_rms([f.estimation for f in figures]), scatter.u),
        dof=total.dof,
        bound=bound,
        frequency_hz=median_low(places) if len(places) == n else None,
        remark=joined(nearest.remark, f"mean of {n} segments"),
    )


def _highest(
    metric: Metric, figures: Sequence[MeasuredValue], independent: float | None
) -> MeasuredValue:
    """The highest of the segments, uncertain by how much they differ besides its own part."""
    n, values = len(figures), _values(metric, figures)
    top = figures[int(np.argmax(values))]
    scatter = Contribution(spread(values.tolist())[1], max((independent or n) - 1, 1))
    total = combine([Contribution(top.uncertainty, top.dof), scatter])
    return replace(
        top,
        uncertainty=total.u,
        estimation=math.hypot(top.estimation, scatter.u),
        dof=total.dof,
        bound=next((f.bound for f in figures if f.bound), None),
        remark=joined(top.remark, f"highest of {n} segments"),
    )


def _values(metric: Metric, figures: Sequence[MeasuredValue]) -> Array:
    """The segments' values, angles without a jump at half a turn.

    A bound in some segments bounds the mean. Raises Refusal for bounds from both sides, and for
    a choice (a sign, an order: it has no uncertainty) that isn't the same in all.
    """
    values = np.array([figure.value for figure in figures])
    bounds = {figure.bound for figure in figures} - {None}
    if len(bounds) > 1:
        raise Refusal("the segments bound it from both sides")
    if not bounds and not any(f.uncertainty for f in figures) and np.ptp(values) > 0:
        listed = ", ".join(in_text(value, digits=6) for value in np.unique(values))
        raise Refusal(f"it is not the same throughout: the segments give {listed}")
    if metric.unit == "deg":
        values = values[0] + np.array([math.remainder(v - values[0], TURN) for v in values])
    return values


def _scale(metric: Metric) -> Scale:
    """Rms quantities and ratios of them add up as squares, levels in dB as powers; of what is
    better the higher (the tone over the rest), the inverse. All else is averaged as it is."""
    if "square" in metric.stimuli or metric.name in NOT_RMS:
        return PLAIN
    if metric.unit == "dB":
        return DECIBELS_DOWN if metric.better == "higher" else DECIBELS
    return {"V": SQUARE, "V/√Hz": SQUARE, "%": SQUARE, "bit": BITS}.get(metric.unit, PLAIN)


def looser(metric: Metric, figure: MeasuredValue, db: float) -> float:
    """The value of a bound that holds for noise so much louder too, db >= 0."""
    scale, away = _scale(metric), 1 if figure.bound == "upper" else -1
    if metric.unit in LOGARITHMIC:
        return figure.value + away * db * LOGARITHMIC[metric.unit]
    return figure.value if scale is PLAIN else figure.value * 10 ** (away * db / 20)


def _rms(parts: Sequence[float]) -> float:
    return math.sqrt(math.fsum(u**2 for u in parts) / len(parts))


def _curves_over_time(each: list[list[Trace]]) -> list[Trace]:
    """Curves that every segment has, with as many points."""
    named = [{(t.name, t.track): t for t in traces} for traces in each]
    same = ([one[key] for one in named if key in one] for key in named[0])
    return [
        replace(group[0], data=_curve_over_time(group[0].y_unit, [t.data for t in group]))
        for group in same
        if len(group) == len(each) and len({len(t.data.x) for t in group}) == 1
    ]


def _curve_over_time(y_unit: str, each: Sequence[CurveData]) -> CurveData:
    """Levels averaged point by point, at the middle one of their places; a waveform is the first.

    Places differ where a spectrum's point lies at a line's peak, and by no more than its group.
    """
    if not y_unit.startswith("dB"):
        return each[0]
    levels = np.array([curve.y for curve in each])
    y = DECIBELS.back(np.mean(DECIBELS.to(levels), axis=0))
    x = np.sort([curve.x for curve in each], axis=0)[(len(each) - 1) // 2]
    own = [curve.uncertainty for curve in each if curve.uncertainty is not None]
    if len(own) < len(each):
        return CurveData(x, y)
    scatter = levels.std(axis=0, ddof=1) / math.sqrt(len(each))
    return CurveData(x, y, np.hypot(np.sqrt(np.mean(np.square(own), axis=0)), scatter))
