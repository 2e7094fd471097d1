"""One axis: its domain, its ticks, and where a value lies in pixels."""

from __future__ import annotations

import itertools
import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import altair as alt

from backbench.charts.shared_axes import with_shared
from backbench.quantities.units import symbol, takes_prefix
from backbench.quantities.writing import axis_labels

TRADE_HZ = (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1e3, 2e3, 5e3, 1e4, 2e4, 5e4, 1e5)


@dataclass(frozen=True)
class Axis:
    """A linear or logarithmic axis from `low` at pixel `start` to `high` at pixel `end`."""

    low: float
    high: float
    start: float
    end: float
    log: bool
    ticks: tuple[float, ...]
    unit: str = ""
    drawn: alt.Axis | None = None

    def px(self, value: float) -> float:
        """Where the value lies."""
        share = (self._transformed(value) - self._transformed(self.low)) / self._run()
        return self.start + share * (self.end - self.start)

    def at(self, px: float) -> float:
        """The value that lies there."""
        transformed = (
            self._transformed(self.low) + (px - self.start) / (self.end - self.start) * self._run()
        )
        return float(10.0**transformed) if self.log else transformed

    def clamped(self, value: float) -> float:
        """The value, brought inside the axis."""
        return min(max(value, self.low), self.high)

    def scale(self) -> alt.Scale:
        """The Vega-Lite scale with exactly this domain."""
        kind: Literal["log", "linear"] = "log" if self.log else "linear"
        fixed: dict[str, Any] = {} if self.log else {"zero": False}
        return alt.Scale(type=kind, domain=[self.low, self.high], nice=False, **fixed)

    def x(self, name: str) -> alt.X:
        """The horizontal position of a column; every layer draws the one axis or none."""
        return alt.X(f"{name}:Q", scale=self.scale(), axis=self.drawn)

    def y(self, name: str) -> alt.Y:
        """The vertical position of a column; every layer draws the one axis or none."""
        return alt.Y(f"{name}:Q", scale=self.scale(), axis=self.drawn)

    def with_axis(self, title: str, **more: Any) -> Axis:
        """The same with an axis: its ticks, their labels by the one formatter, title and unit."""
        mark = symbol(self.unit)
        prefixed = takes_prefix(self.unit)
        if title and mark and not prefixed:
            title = f"{title} ({mark})"
        labels = axis_labels(self.ticks, self.unit if prefixed else "", log=self.log)
        ticks = list(self.ticks)
        label_of = f"{json.dumps(labels)}[indexof({json.dumps(ticks)}, datum.value)]"
        return replace(self, drawn=alt.Axis(values=ticks, title=title, labelExpr=label_of, **more))

    def with_vertical_axis(self, title: str, indent: float, **more: Any) -> Axis:
        """The same with a vertical axis, its title lying level above it, `indent` to the left."""
        level: dict[str, Any] = {
            "titleAngle": 0,
            "titleAlign": "left",
            "titleAnchor": "end",
            "titleX": -indent,
            "titleY": -16,
            "titleBaseline": "bottom",
        }
        return self.with_axis(title, **(level | more))

    def _transformed(self, value: float) -> float:
        return math.log10(max(value, 1e-300)) if self.log else value

    def _run(self) -> float:
        return self._transformed(self.high) - self._transformed(self.low)


def axis(
    values: Iterable[float | None], start: float, end: float, unit: str = "", log: bool = False,
    of: str = "",
) -> Axis:  # fmt: skip
    """An axis that holds all finite values with a little room. Logarithmic needs values over 0.

    of: the quantity, where a picture has axes of several.
    """
    finite = [v for v in values if v is not None and math.isfinite(v) and (v > 0 or not log)]
    course, direction = "ratios" if log else "steps", "along" if end > start else "up"
    finite = with_shared((unit, course, direction, of), finite)
    if log:
        return _log_axis(finite or [1.0], start, end, unit)
    return _linear_axis(finite or [0.0], start, end, unit)


def frequency_axis(values: Iterable[float | None], start: float, end: float) -> Axis:
    """Logarithmic frequency with the trade's grid: 20, 50, 100, …, 20k."""
    known = with_shared(("Hz", "frequency"), [v for v in values if v is not None and v > 0])
    finite = known or [20.0, 20e3]
    low, high = min(finite), max(finite)
    ticks = _apart([f for f in TRADE_HZ if low * 0.997 <= f <= high * 1.003], low, high, start, end)
    low, high = min([low, *ticks]), max([high, *ticks])
    if low >= high:
        low, high = low / 2, high * 2
    return Axis(
        low=low, high=high, start=start, end=end, log=True, ticks=ticks or (low, high), unit="Hz"
    )


UPRIGHT_LABEL_PX = 20.0
LABEL_PX = 46.0
"""What the number of a horizontal axis takes, with room to the next."""


def _apart(
    ticks: Sequence[float], low: float, high: float, start: float, end: float
) -> tuple[float, ...]:
    """The ticks of a logarithmic axis, or as few for each decade as stand apart."""
    if len(ticks) < 2:
        return tuple(ticks)
    whole = Axis(low, high, start, end, log=True, ticks=())
    for heads in ("125", "2", "1"):
        some = [t for t in ticks if f"{t:e}"[0] in heads]
        places = [whole.px(t) for t in some]
        room = [abs(b - a) for a, b in itertools.pairwise(places)]
        if len(some) > 1 and min(room) >= LABEL_PX:
            return tuple(some)
    return tuple(ticks) if abs(end - start) > 2 * LABEL_PX * len(ticks) else tuple(ticks[:1])


def ranges_widely(values: Sequence[float | None], unit: str) -> bool:
    """Whether the values call for a logarithmic axis: all above 0, over 30 to 1, not decibels."""
    finite = [v for v in values if v is not None]
    return bool(finite) and "dB" not in unit and min(finite) > 0 and max(finite) > 30 * min(finite)


def _linear_axis(values: list[float], start: float, end: float, unit: str) -> Axis:
    low, high = min(values), max(values)
    if low == high:
        reach = abs(low) * 0.1 or 1.0
        low, high = low - reach, high + reach
    room = 0.05 * (high - low)
    low, high = (0.0 if 0 <= low < 0.3 * high else low - room), high + room
    every = (90.0 if end - start > 400 else 62.0) if end > start else 58.0
    step = _step((high - low) / max(abs(end - start) / every, 2.6))
    least = LABEL_PX if end > start else UPRIGHT_LABEL_PX
    ticks, finer = _even_ticks(low, high, step), _step(step / 2.5)
    per_px = (high - low) / abs(end - start)
    if len(ticks) < FEWEST_TICKS and finer >= least * per_px:
        ticks = _even_ticks(low, high, finer)
    elif len(ticks) > 2 and step < 0.8 * least * per_px:
        ticks = _even_ticks(low, high, _step(least * per_px))
    return Axis(
        low=low,
        high=high,
        start=start,
        end=end,
        log=False,
        ticks=tuple(float(f"{t:.10g}") for t in ticks),
        unit=unit,
    )


def _even_ticks(low: float, high: float, step: float) -> list[float]:
    first = math.ceil(low / step - 1e-9)
    ticks = [first * step]
    while ticks[-1] + step <= high * (1 + 1e-12):
        ticks.append((first + len(ticks)) * step)
    return ticks


HEADS: tuple[tuple[float, ...], ...] = ((1,), (1, 3), (1, 2, 5), (1, 1.5, 2, 3, 4, 5, 7))
"""Numbers within a decade that a logarithmic axis has ticks at, from coarse to fine."""
FEWEST_TICKS = 3


def _log_axis(values: list[float], start: float, end: float, unit: str) -> Axis:
    low, high = min(values) / 1.15, max(values) * 1.15
    whole = Axis(low=low, high=high, start=start, end=end, log=True, ticks=(), unit=unit)
    return replace(whole, ticks=_log_ticks(whole) or (low, high))


def _log_ticks(whole: Axis) -> tuple[float, ...]:
    """As fine as there is room for, or finer where only one or two would lie on the axis."""
    room = abs(whole.end - whole.start) / math.log10(whole.high / whole.low)
    coarsest = 3 if room > 600 else 2 if room > 190 else 1 if room > 115 else 0
    finer = [_decade_ticks(whole, heads, room) for heads in HEADS[coarsest:]]
    even = _linear_axis([whole.low, whole.high], whole.start, whole.end, whole.unit).ticks
    finer.append(tuple(t for t in even if whole.low <= t <= whole.high))
    some = finer[:1] + [ticks for ticks in finer[1:] if _stand_apart(ticks, whole)]
    return next((ticks for ticks in some if len(ticks) >= FEWEST_TICKS), max(some, key=len))


def _decade_ticks(whole: Axis, heads: Sequence[float], room: float) -> tuple[float, ...]:
    decades = range(math.floor(math.log10(whole.low)), math.ceil(math.log10(whole.high)) + 1)
    every = max(1, math.ceil(_label_px(whole) / room))
    ticks = [float(f"{head}e{decade}") for decade in decades[::every] for head in heads]
    return tuple(t for t in ticks if whole.low <= t <= whole.high)


def _label_px(whole: Axis) -> float:
    return LABEL_PX if whole.end > whole.start else UPRIGHT_LABEL_PX


def _stand_apart(ticks: Sequence[float], whole: Axis) -> bool:
    places = [whole.px(t) for t in ticks]
    return all(abs(b - a) >= _label_px(whole) for a, b in itertools.pairwise(places))


def _step(rough: float) -> float:
    decade = 10.0 ** math.floor(math.log10(rough))
    return float(next(s for s in (1, 2, 5, 10) if s * decade >= rough * 0.8) * decade)
