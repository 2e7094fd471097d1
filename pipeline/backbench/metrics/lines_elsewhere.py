"""Bounds on mains lines where nothing tells at which places of the spectrum they would lie."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

from backbench.metrics.declaration import MeasuredValue
from backbench.metrics.warnings import joined
from backbench.signal.mains import other_frequencies
from backbench.signal.power import MeanSquare

EITHER_MAINS = "no line tells which mains frequency it was: the bound holds for 50 and 60 Hz"
ANY_RATE = "the bound holds for every sample rate that it may have had"


class Elsewhere(NamedTuple):
    """Lines 1 to 10 at places where those of the mains may be. why: why they may be there."""

    why: str
    lines: list[MeanSquare]


def places_elsewhere(
    mains_hz: float, stretches: list[float], *, confirmed: bool
) -> Iterator[tuple[str, float]]:
    """Where else the first line of the mains may be, Hz, and why.

    Parameters
    ----------
    mains_hz : float
        Mains frequency as stated, Hz.
    stretches : list of float
        The stated sample rate re each that it may have been instead.
    confirmed : bool
        Whether a line shows the stated mains frequency.

    Yields
    ------
    str, float
    """
    frequencies = [mains_hz, *([] if confirmed else other_frequencies(mains_hz))]
    yield from ((EITHER_MAINS, hz) for hz in frequencies[1:])
    yield from ((ANY_RATE, hz * stretch) for stretch in stretches for hz in frequencies)


def bounded_elsewhere(
    figure: MeasuredValue,
    elsewhere: list[Elsewhere],
    of: Callable[[list[MeanSquare]], MeanSquare],
) -> MeasuredValue:
    """A bound on lines that holds wherever they may be; a figure that is no bound as it is.

    Parameters
    ----------
    figure : MeasuredValue
        Of lines, V.
    elsewhere : list of Elsewhere
        Lines where those of the mains may be.
    of : callable
        Which of ten lines, or what of them together, the figure is.

    Returns
    -------
    MeasuredValue
        With the reason where another place sets the bound.
    """
    if figure.bound is None or not elsewhere:
        return figure
    most, why = max((of(other.lines).lifted_at_most, other.why) for other in elsewhere)
    if most <= figure.value:
        return figure
    return figure.but(value=most, remark=joined(figure.remark, why))
