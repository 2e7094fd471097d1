"""The ratio of two voltages of a session: what one calibration of both leaves uncertain."""

from __future__ import annotations

import math
from typing import NamedTuple

from backbench.metrics.declaration import MeasuredValue
from backbench.metrics.session import Reading, relative_estimation, relative_uncertainty
from backbench.signal.uncertainty import DB_PER_RELATIVE

NEAR = 0.01
"""997 Hz, clear of mains lines, stands for 1 kHz."""


class RatioUncertainty(NamedTuple):
    """Standard uncertainties of a ratio, relative.

    own: by the two records. whole: with their calibrations, which cancel where both have one.
    """

    own: float
    whole: float


def ratio_uncertainty(one: Reading, other: Reading) -> RatioUncertainty:
    """Of one reading over another."""
    own = math.hypot(relative_estimation(one), relative_estimation(other))
    if one.calibration_key == other.calibration_key:
        return RatioUncertainty(own, own)
    whole = math.hypot(relative_uncertainty(one), relative_uncertainty(other))
    return RatioUncertainty(own, whole)


def ratio_in_db(one: Reading, other: Reading) -> MeasuredValue:
    """20 lg of one reading over another, both above 0."""
    own, whole = ratio_uncertainty(one, other)
    value = 20 * math.log10((one.value or 0.0) / (other.value or 1.0))
    return MeasuredValue(value, DB_PER_RELATIVE * whole, DB_PER_RELATIVE * own)


def is_near(reading: Reading, hz: float, within: float = NEAR) -> bool:
    """Whether a reading is one of a frequency, within a share of it."""
    return reading.frequency_hz is not None and abs(reading.frequency_hz / hz - 1) <= within
