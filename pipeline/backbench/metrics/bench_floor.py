"""What the bench itself adds to a figure, known from a loop-back in the same input range.

Noise adds in power: it is taken off where the reading is more than 3 dB above the bench's own,
else the reading is a bound. Lines (distortion products, hum) add in unknown phase: within 10 dB
of the bench's own the reading is bounded by the coherent worst case, above it the unknown phase
is part of the uncertainty. Where a loop-back shows no more than a bound on its own lines, they may
be anything up to it. Common practice, no source for the 3 dB and 10 dB; the coherent cases are
closed forms (10 dB below gives +2.39 and -3.30 dB).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Protocol, TypeVar

from backbench.metrics.declaration import MeasuredValue
from backbench.quantities.writing import in_text
from backbench.signal.uncertainty import Contribution, combine

NOISE_CLEAR = 10 ** (3 / 20)
LINE_CLEAR = 10 ** (10 / 20)
CHOICE = (
    "; with a loop-back in the same range the bench's own noise is taken off in power, an upper "
    "bound within 3 dB of it"
)
LINE_CHOICE = (
    "; with a loop-back in the same range under the same stimulus, an upper bound (coherent worst "
    "case) within 10 dB of the bench's own, above that its unknown phase is in the uncertainty; "
    "where the loop-back shows only how much it is at most, any level up to that is"
)


class Benched(Protocol):
    """A view that knows the bench's own under the same stimulus and range, of each loop-back."""

    @property
    def benches(self) -> Sequence[Benched]: ...


V = TypeVar("V", bound=Benched)


def less_noise(view: V, figure_of: Callable[[V], MeasuredValue]) -> MeasuredValue:
    """A figure of noise (an rms), the bench's own taken off in power."""
    owns = [figure_of(own) for own in view.benches]  # type: ignore[arg-type]
    return noise_off(figure_of(view), own_noise(owns))


def less_lines(view: V, figure_of: Callable[[V], MeasuredValue]) -> MeasuredValue:
    """A figure of lines (an rms or a ratio), bounded or widened by the bench's own."""
    owns = [figure_of(own) for own in view.benches]  # type: ignore[arg-type]
    return lines_off(figure_of(view), greatest_own(owns))


def own_noise(owns: Sequence[MeasuredValue]) -> MeasuredValue | None:
    """The bench's own noise from several loop-backs: their mean in power, which varies as they do.

    A bound where one of them is: the greatest. None where there are none.
    """
    if len(owns) < 2:
        return next(iter(owns), None)
    greatest = max(owns, key=lambda own: own.value)
    if any(own.bound is not None for own in owns):
        return greatest.but(bound="upper")
    mean = math.sqrt(sum(own.value**2 for own in owns) / len(owns))
    spread = max(abs(own.value - mean) for own in owns)
    estimation = math.hypot(max(own.estimation for own in owns), spread)
    whole = math.hypot(max(own.uncertainty for own in owns), spread)
    return greatest.but(value=mean, uncertainty=whole, estimation=estimation)


def greatest_own(owns: Sequence[MeasuredValue]) -> MeasuredValue | None:
    """The greatest of the bench's own lines that stand out of several loop-backs.

    A bound where none does; None where there are none.
    """
    standing = [own for own in owns if own.bound is None]
    return max(standing or owns, key=lambda own: own.value, default=None)


def noise_off(figure: MeasuredValue, bench: MeasuredValue | None) -> MeasuredValue:
    """An rms without the bench's own, both with their uncertainty, unit V or %."""
    if bench is None or figure.bound is not None or bench.value <= 0:
        return figure
    if figure.value < NOISE_CLEAR * bench.value:
        remark = f"within 3 dB of the bench's own {in_text(bench.value)}"
        return figure.but(bound="upper", remark=remark)
    left = math.sqrt(figure.value**2 - bench.value**2)
    if bench.bound is not None:
        # The bench's own may be anything from nothing to this: so may what it adds.
        added = Contribution((figure.value - left) / math.sqrt(3))
        return _widened(figure, added)
    shared = math.sqrt(max(figure.uncertainty**2 - figure.estimation**2, 0.0)) / figure.value * left
    parts = [
        Contribution(figure.estimation * figure.value / left, figure.dof),
        Contribution(bench.estimation * bench.value / left, bench.dof),
    ]
    own = combine(parts)
    total = combine([own, Contribution(shared)])
    return figure.but(value=left, uncertainty=total.u, estimation=own.u, dof=total.dof
    )  # fmt: skip


def noise_and_doubtful_off(
    figure: MeasuredValue, bench: MeasuredValue, steady: float, lines: float
) -> MeasuredValue:
    """An rms without the bench's own noise, of which only a part is surely in it.

    steady: rms of that part, in the figure's unit. lines: mean square of the lines in the figure,
    with which the rest of the bench's own may be in phase or against it.
    """
    doubtful = max(bench.value**2 - steady**2, 0.0)
    if figure.bound is not None or figure.value < NOISE_CLEAR * bench.value:
        return noise_off(figure, bench)
    share = steady / bench.value if bench.value > 0 else 1.0
    surely = bench.but(value=steady, uncertainty=share * bench.uncertainty,
        estimation=share * bench.estimation,
    )  # fmt: skip
    cleared = noise_off(figure, surely)
    # All of it or nothing: half of the distance; lines in any phase: root of 1/2 of 2 a b.
    power = math.hypot(doubtful / 2, math.sqrt(2 * doubtful * lines))
    return _widened(cleared, Contribution(power / (2 * cleared.value)))


def lines_off(figure: MeasuredValue, bench: MeasuredValue | None) -> MeasuredValue:
    """Lines beside the bench's own of unknown phase; both rms, or both ratios in %."""
    if bench is None or bench.value <= 0:
        return figure
    own = bench.value
    if bench.bound is not None:
        return _beside_unseen(figure, own)
    if figure.bound == "upper" or figure.value < LINE_CLEAR * own:
        least = max(figure.value - own, 0.0) if figure.bound is None else 0.0
        remark = f"the bench's own {in_text(own)} adds in unknown phase: {in_text(least)} to "
        most = figure.value + own
        return figure.but(value=most, bound="upper", remark=f"{remark}{in_text(most)}")
    # |d| for a phase that is anything: the found one less own times its cosine, U-shaped.
    return _widened(figure, Contribution(own / math.sqrt(2)))


def _beside_unseen(figure: MeasuredValue, most: float) -> MeasuredValue:
    """Lines beside the bench's own of which a loop-back tells only that they are no more."""
    if figure.bound is not None:
        return figure
    if most >= figure.value:
        remark = f"a loop-back shows only that the bench's own is below {in_text(most)}"
        return figure.but(value=figure.value + most, bound="upper", remark=remark)
    # Any level up to it, in any phase: root of 1/3 and of 1/2.
    return _widened(figure, Contribution(most / math.sqrt(6)))


def _widened(figure: MeasuredValue, added: Contribution) -> MeasuredValue:
    total = combine([Contribution(figure.uncertainty, figure.dof), added])
    return figure.but(uncertainty=total.u, dof=total.dof)
