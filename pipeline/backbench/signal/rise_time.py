"""Rise times of a chain: what stands before and after a unit, taken off what is measured."""

from __future__ import annotations

import math
from typing import NamedTuple

from backbench.signal.uncertainty import ONE_SIDED

BRICK_WALL = 0.4458
"""10 % to 90 % of the step of an ideal low-pass, over the reciprocal of its corner; computed, and
held by a test."""
CORNER = 0.35
"""Corner of a first-order low-pass times its rise time: ln 9 / 2 pi."""
CLEARLY = 2.0
"""An edge this many times as slow as what it passed through is clearly slower."""
INEXACT = 0.75
"""How far squares of rise times may fail to add, of the smaller square: edges of first and second
order one after the other miss by 0.75 of it at most (simulated)."""
CONVERTER = 0.16
"""Error of an edge's rise time twice that of the converter, relative: edges of first and second
order behind an ideal low-pass are within it (simulated; the greatest is 0.157, of first order);
it falls with the square."""
BEHIND = 1.02
"""A converter may make an edge appear this much faster than it is (simulated)."""


class ChainRiseTime(NamedTuple):
    """Rise time of what stands about a unit: known to lie between least and most, s.

    Parameters
    ----------
    least, most : float
        s, >= 0.
    """

    least: float
    most: float


class Rise(NamedTuple):
    """A unit's own rise time with its standard uncertainty, s, or an upper bound of it.

    Parameters
    ----------
    value : float
        s.
    u : float
        s; 0 for a bound.
    bounded : bool
        Whether the value is an upper bound.
    """

    value: float
    u: float
    bounded: bool


def chained(generator: ChainRiseTime | None, probe_s: float | None) -> ChainRiseTime | None:
    """Rise time of generator and probe together; None where one of them is unknown.

    Parameters
    ----------
    generator : ChainRiseTime or None
        Rise time of the generator, s.
    probe_s : float or None
        Rise time of the probe, s.

    Returns
    -------
    ChainRiseTime or None
        s; root sum square of both.
    """
    if generator is None or probe_s is None:
        return None
    return ChainRiseTime(math.hypot(generator.least, probe_s), math.hypot(generator.most, probe_s))


def taken_off(
    measured: float, u: float, own: ChainRiseTime | None, converter_s: float, step_s: float
) -> Rise:
    """A unit's own rise time from that measured at its output.

    Parameters
    ----------
    measured : float
        Rise time at the output, s, > 0.
    u : float
        Its standard uncertainty, s.
    own : ChainRiseTime or None
        Of generator and probe, taken off in quadrature; None where unknown.
    converter_s : float
        Of the audio converter, s (0 for a trace), whose sharp filter changes a slower edge so
        little that nothing is taken off.
    step_s : float
        Distance of a trace's samples, s.

    Returns
    -------
    Rise
        s; an upper bound where the edge isn't clearly slower than these, or own is unknown.
    """
    least = CLEARLY * max(own.most if own else math.inf, converter_s, step_s)
    if own is None or measured < least:
        return Rise(measured * (BEHIND if converter_s else 1.0) + ONE_SIDED * u, 0.0, True)
    value = math.sqrt(measured**2 - (own.least**2 + own.most**2) / 2)
    per_square = 1 / (2 * value * math.sqrt(3))
    parts = (
        u * measured / value,
        (own.most**2 - own.least**2) / 2 * per_square,
        INEXACT * own.most**2 * per_square,
        CONVERTER * (2 * converter_s / measured) ** 2 * measured / math.sqrt(3),
    )
    return Rise(value, math.hypot(*parts), False)
