"""The bench's own distortion at the level of a capture, from loop-backs at several levels.

A converter's distortion changes with its level: a loop-back tells the bench's own at its level, two
that bracket a level tell it between them. Beyond them there is only a ceiling: upward a product of
the n-th order of a smooth transfer grows with the (n - 1)th power of the level in proportion to it
(closed form: the lowest term of a power series that makes it), downward its volts don't grow. Sums
are reckoned with the fifth order, whose products grow faster than those below it; converters have
hardly any above it (common practice, no source).
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple, Protocol, TypeVar

from backbench.errors import NotApplicable, Refusal
from backbench.metrics.bench_floor import lines_off
from backbench.metrics.declaration import CaptureData, MeasuredValue, View
from backbench.metrics.warnings import joined
from backbench.quantities.writing import in_text
from backbench.signal.track import Track

LEAST_ORDER, SUM_ORDER = 3, 5
SAME_LEVEL = 10 ** (1 / 20)
"""Levels within 1 dB of each other are one level: common practice, no source."""


class Levelled(Protocol):
    """A view with its level, V, and the bench's own at every level that there is a loop-back of."""

    @property
    def level_v(self) -> float: ...
    @property
    def benches(self) -> Sequence[Levelled]: ...


V = TypeVar("V", bound=Levelled)


class BenchRatio(NamedTuple):
    """The bench's own, a ratio in %, and why it is no more than a ceiling, where it is."""

    figure: MeasuredValue
    reason: str | None = None


def less_lines_at_level(view: V, figure_of: Callable[[V], MeasuredValue]) -> MeasuredValue:
    """A ratio of lines in percent, bounded or widened by the bench's own at the view's level."""
    figure = figure_of(view)
    if not view.benches:
        return figure
    return off_at_level(figure, view.level_v, of_levels(view, figure_of))


def of_levels(
    view: V, figure_of: Callable[[V], MeasuredValue]
) -> list[tuple[float, MeasuredValue]]:
    """The figure of each loop-back that gives one, with its level, V, rising."""
    levels = []
    for one in view.benches:
        try:
            levels.append((one.level_v, figure_of(one)))  # type: ignore[arg-type]
        except (Refusal, NotApplicable):
            continue
    return sorted(levels, key=lambda pair: pair[0])


def off_at_level(
    figure: MeasuredValue,
    level_v: float,
    known: Sequence[tuple[float, MeasuredValue]],
    order: int = SUM_ORDER,
) -> MeasuredValue:
    """A ratio of lines in percent without the bench's own, from its figures by rising level.

    order: of the product that the ratio is of; that of sums where not given.
    """
    if not known:
        return figure
    own = own_at(level_v, known, order)
    cleared = lines_off(figure, own.figure)
    if own.reason is None or cleared.bound is None:
        return cleared
    return cleared.but(remark=joined(cleared.remark, own.reason))


def loop_backs(capture_data: CaptureData) -> list[CaptureData]:
    """Every loop-back that a capture has, its `bench` first."""
    return [*filter(None, [capture_data.bench]), *capture_data.bench_levels]


def loop_backs_of_output(capture_data: CaptureData, number: int) -> list[CaptureData]:
    """Those with output track `number`, under a stimulus of the capture's kind."""
    kind = type(capture_data.stimulus)
    every = loop_backs(capture_data)
    return [one for one in every if number in one.outputs and isinstance(one.stimulus, kind)]


def loop_back_views(view: View, capture_data: CaptureData, track: Track) -> list[Any]:
    """The bench's own on the same track, at every level that there is a fit loop-back of.

    view: of the kind of stimulus that the capture has. track: one of its outputs.
    """
    number = next(n for n, output in capture_data.outputs.items() if output is track)
    views = []
    for one in loop_backs_of_output(capture_data, number):
        with contextlib.suppress(Refusal):
            views.append(view.build(one, number))
    return views


def own_at(
    level_v: float, known: Sequence[tuple[float, MeasuredValue]], order: int = SUM_ORDER
) -> BenchRatio:
    """The bench's own at a level, V, from its figures by rising level (at least one).

    order: of the product that they are of.
    """
    near = [pair for pair in known if 1 / SAME_LEVEL <= pair[0] / level_v <= SAME_LEVEL]
    if near:
        return BenchRatio(min(near, key=lambda pair: abs(math.log(pair[0] / level_v)))[1])
    below = [pair for pair in known if pair[0] < level_v]
    above = [pair for pair in known if pair[0] > level_v]
    if below and above:
        return BenchRatio(_interpolated(level_v, below[-1], above[0]))
    nearest, figure = below[-1] if below else above[0]
    ratio = level_v / nearest
    most = figure.value * (ratio ** (max(order, LEAST_ORDER) - 1) if below else 1 / ratio)
    reason = (
        f"the nearest loop-back is at {in_text(nearest, 'V')} and this at "
        f"{in_text(level_v, 'V')}: of the bench's "
        "own only a ceiling is known; take a loop-back at this level"
    )
    return BenchRatio(MeasuredValue(most, 0.0, bound=figure.bound), reason)


def _interpolated(
    level_v: float, below: tuple[float, MeasuredValue], above: tuple[float, MeasuredValue]
) -> MeasuredValue:
    """Straight in the logarithms; where either is a bound, the greater of the two."""
    low, high = below[1].value, above[1].value
    if below[1].bound or above[1].bound or low <= 0 or high <= 0:
        return MeasuredValue(max(low, high), 0.0, bound=below[1].bound and above[1].bound)
    fraction = math.log(level_v / below[0]) / math.log(above[0] / below[0])
    return MeasuredValue(low ** (1 - fraction) * high**fraction, 0.0)
