"""What the model knows of a review: the values that a measurement should find."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial

from backbench.seed_dataset.behaviour import NOMINAL_OHM, RATING_THD, REFERENCE_HZ, Behaviour
from backbench.seed_dataset.faults import behaviours
from backbench.seed_dataset.rolloff import corner_3db
from backbench.seed_dataset.scenario import Review, scenario
from backbench.seed_dataset.transfer import amplitude_at


@dataclass(frozen=True)
class OutputTruth:
    """One output of one unit.

    gain_db: small signal, 1 kHz, into 8 ohm (a preamplifier: no load).
    noise_v: hiss and mains lines together, V rms in 20 Hz-20 kHz, without the bench's noise.
    low_3db_hz, high_3db_hz: re 1 kHz, small signal; 0 where coupled for DC.
    power_at_1_percent_w: into 8 ohm at 1 kHz, from clipping; None for a preamplifier.
    """

    unit: str
    output: str
    gain_db: float
    polarity: int
    source_impedance_ohm: float
    noise_v: float
    hiss_v: float
    mains_v: tuple[float, ...]
    low_3db_hz: float
    high_3db_hz: float
    power_at_1_percent_w: float | None


@dataclass(frozen=True)
class ReviewTruth:
    """All outputs in the order of the tracks; imbalance_db is the first (left) over the second."""

    outputs: tuple[OutputTruth, ...]
    imbalance_db: float


def truth(review_key: str) -> ReviewTruth:
    """The model's values of a review. Raises KeyError for an unknown review."""
    review = scenario().review(review_key)
    found = tuple(_output(review, n, behaviour) for n, behaviour in enumerate(behaviours(review)))
    return ReviewTruth(found, found[0].gain_db - found[1].gain_db)


def _output(review: Review, position: int, behaviour: Behaviour) -> OutputTruth:
    unit, output = review.channels[position]
    load = math.inf if unit.is_preamplifier else NOMINAL_OHM
    response = partial(behaviour.into, load)
    return OutputTruth(
        unit=unit.key,
        output=output,
        gain_db=20 * math.log10(behaviour.gain_into(load)),
        polarity=behaviour.polarity,
        source_impedance_ohm=float(abs(behaviour.source_at(REFERENCE_HZ)[0])),
        noise_v=math.hypot(behaviour.hiss_v, *behaviour.mains_v),
        hiss_v=behaviour.hiss_v,
        mains_v=behaviour.mains_v,
        low_3db_hz=corner_3db(response, high=False),
        high_3db_hz=corner_3db(response, high=True),
        power_at_1_percent_w=None if unit.is_preamplifier else power_at_rated_distortion(behaviour),
    )


def power_at_rated_distortion(behaviour: Behaviour) -> float:
    """Power into 8 ohm at 1 kHz where clipping takes THD past 1 %, W."""
    ceiling = behaviour.ceiling(NOMINAL_OHM)
    relative = amplitude_at(behaviour.transfer.at(1000.0), RATING_THD, ceiling)
    volts = relative * behaviour.rail_v * behaviour.divider(NOMINAL_OHM)
    return volts**2 / 2 / NOMINAL_OHM
