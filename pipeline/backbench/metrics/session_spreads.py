"""What another session of one unit without work in between would give, where nothing is known.

Sizes are common practice, no source: each is what moves such a figure from one day to another on
one bench, by the reason stated with it. Units that are measured again replace them
(`test_points/repeatability.py`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class SessionSpread:
    """A standard deviation between sessions.

    size: in relation to the value where is_relative, else in the metric's unit. why: what makes
    it so large.
    """

    size: float
    is_relative: bool
    why: str


RESIDUAL = SessionSpread(
    0.05, True, "bias, temperature, mains voltage and contacts move what a unit adds or limits"
)
RESIDUAL_DB = SessionSpread(
    20 * math.log10(1 + RESIDUAL.size), False, "the same 5 % of a figure in decibels"
)
LEVELS = SessionSpread(
    0.1, False, "controls and contacts set anew, and valves or mains voltage behind feedback, move "
    "gain and the difference of two outputs by about 1 %",
)  # fmt: skip
ONE_SWEEP = SessionSpread(
    0.05, False, "what moves all levels of one session alike drops out of their ratios"
)
ANGLE = SessionSpread(0.5, False, "about what 1 % of a corner an octave away makes")
OFFSET = SessionSpread(1e-3, False, "bias and temperature move an offset whatever its size")
SPEED = SessionSpread(0.05, False, "warm bearings and belts move a speed whatever its error")
FLUTTER = SessionSpread(0.1, True, "where on a reel or a side it is taken, and how it lies, differ")
_GUIDES = "guides and the tape's own edge move the angle whatever its size"
AZIMUTH_DELAY = SessionSpread(2e-6, False, _GUIDES)
AZIMUTH_ANGLE = SessionSpread(1.0, False, _GUIDES)
CLOCK = SessionSpread(2.0, False, "a crystal over some kelvin")
SENSITIVITY = SessionSpread(0.5, False, "alignment moves with temperature; leads are laid anew")
BITS = SessionSpread(RESIDUAL_DB.size / 6.02, False, "the same 5 % in bits of 6.02 dB")
SLOPE = SessionSpread(0.1, False, "about what 1 % of a corner makes of a small tilt")

BY_UNIT = {
    "dB": RESIDUAL_DB, "dB/h": RESIDUAL_DB, "deg": ANGLE, "ppm": CLOCK, "dBf": SENSITIVITY,
    "bit": BITS,
}  # fmt: skip
"""Of metrics that declare none, where the unit tells; of all others RESIDUAL."""


def usual_spread(unit: str) -> SessionSpread:
    """The spread of a metric that declares none."""
    return BY_UNIT.get(unit, RESIDUAL)


def corner(fall_db: float) -> SessionSpread:
    """The frequency at which a response has fallen by fall_db (above 0), by one pole.

    Closed form: there the level falls by 20 / ln 10 (1 - 10^(-fall / 10)) dB for each neper of
    frequency; ONE_SWEEP over that is the spread of the frequency.
    """
    slope = 20 / math.log(10) * (1 - 10 ** (-fall_db / 10))
    return SessionSpread(
        ONE_SWEEP.size / slope, True, "what the spread of a sweep's levels makes at one pole"
    )
