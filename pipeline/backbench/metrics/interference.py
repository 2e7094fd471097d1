"""A tuner beside an interfering signal: capture ratio, selectivity, rejection, from a table."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declaration import CaptureData, MeasuredValue, metric, view
from backbench.metrics.table_uncertainty import column_u
from backbench.metrics.traits import OF_AN_INTERFERER, Traits
from backbench.quantities.writing import in_text
from backbench.signal.settling import settles_at
from backbench.signal.track import Array

FAMILY = "Tuner"

SUPPRESSED_DB, CAPTURED_DB = 30.0, 1.0
_SOURCE = "IHF-T-200 / IEEE 185 (definitions from memory)"
_REJECTION = (
    "greatest level of the interferer re the wanted signal up to which the wanted audio stays "
    "30 dB above what the interferer leaves; a bound where it does over the whole table; the "
    "generators' own errors are not known and not in the uncertainty"
)


@dataclass(frozen=True, eq=False)
class InterferenceView:
    """Rows by rising level of the interferer, dB re the wanted signal.

    suppression: the wanted audio over what the interferer leaves, dB, by column; u: of each.
    """

    level: Array
    suppression: dict[str, Array]
    u: dict[str, Array]


@view("interference table", version=1)
def interference(capture_data: CaptureData, number: int) -> InterferenceView:
    """Suppression by rising level. Raises Refusal where the rows can't be put in order."""
    table = capture_data.table
    assert table is not None
    level = table["interferer_level"]
    order = np.argsort(level, kind="stable")
    if len(level) < 2 or (np.diff(level[order]) <= 0).any():
        raise Refusal("fewer than two levels of the interferer, or one that stands twice")
    keys = [key for key in table if key != "interferer_level"]
    return InterferenceView(
        level[order],
        {key: table[key][order] for key in keys},
        {key: column_u(capture_data, key)[order] for key in keys},
    )


def _level_at(seen: InterferenceView, column: str, wanted_db: float) -> MeasuredValue:
    """Greatest level up to which the suppression stays at a value, a lower bound at the end."""
    if column not in seen.suppression:
        raise NotApplicable(f"the table has no column {column}")
    found = settles_at(
        -seen.level[::-1], seen.suppression[column][::-1], seen.u[column][::-1], wanted_db
    )
    if found is None:
        least = in_text(float(seen.level[0]), "dB", 4)
        raise Refusal(f"the suppression is below {in_text(wanted_db, 'dB')} from {least} on")
    return MeasuredValue(-found.x, found.u, found.u, bound=None if found.within else "lower")


@metric(
    "capture_ratio",
    title="Capture ratio",
    unit="dB",
    better="lower",
    source=_SOURCE,
    stimuli=["interference table"],
    version=1,
    choice="half the difference between the levels of an interferer on the same channel at which "
    "the wanted audio is 30 dB and 1 dB above what it leaves",
    traits=Traits(compared_at=OF_AN_INTERFERER, position=251, only_with="tuner"),
)
def capture_ratio(seen: InterferenceView) -> MeasuredValue:
    """How much stronger a signal has to be than another on its channel to be heard alone."""
    low, high = (_level_at(seen, "same_channel", db) for db in (SUPPRESSED_DB, CAPTURED_DB))
    if low.bound or high.bound:
        raise Refusal("the table doesn't go from more than 30 dB to less than 1 dB of suppression")
    u = math.hypot(low.uncertainty, high.uncertainty) / 2
    return MeasuredValue((high.value - low.value) / 2, u, u)


@metric(
    "adjacent_selectivity",
    title="Adjacent-channel selectivity",
    unit="dB",
    better="higher",
    source=_SOURCE,
    stimuli=["interference table"],
    version=1,
    choice="interferer 200 kHz beside the wanted signal; " + _REJECTION,
    traits=Traits(compared_at=OF_AN_INTERFERER, position=252, only_with="tuner"),
)
def adjacent_selectivity(seen: InterferenceView) -> MeasuredValue:
    """Level of a signal in the next channel that leaves the wanted audio 30 dB above it."""
    return _level_at(seen, "adjacent_channel", SUPPRESSED_DB)


@metric(
    "alternate_selectivity",
    title="Alternate-channel selectivity",
    unit="dB",
    better="higher",
    source=_SOURCE,
    stimuli=["interference table"],
    version=1,
    choice="interferer 400 kHz beside the wanted signal; " + _REJECTION,
    traits=Traits(compared_at=OF_AN_INTERFERER, position=253, only_with="tuner"),
)
def alternate_selectivity(seen: InterferenceView) -> MeasuredValue:
    """Level of a signal in the channel after the next that leaves the audio 30 dB above it."""
    return _level_at(seen, "alternate_channel", SUPPRESSED_DB)


@metric(
    "image_rejection",
    title="Image rejection",
    unit="dB",
    better="higher",
    source=_SOURCE,
    stimuli=["interference table"],
    version=1,
    choice="interferer at the image, twice the intermediate frequency away; " + _REJECTION,
    traits=Traits(compared_at=OF_AN_INTERFERER, position=254, only_with="tuner"),
)
def image_rejection(seen: InterferenceView) -> MeasuredValue:
    """Level of a signal at the image frequency that leaves the wanted audio 30 dB above it."""
    return _level_at(seen, "image", SUPPRESSED_DB)


@metric(
    "if_rejection",
    title="Rejection of the intermediate frequency",
    unit="dB",
    better="higher",
    source=_SOURCE,
    stimuli=["interference table"],
    version=1,
    choice="interferer at the intermediate frequency; " + _REJECTION,
    traits=Traits(compared_at=OF_AN_INTERFERER, position=255, only_with="tuner"),
)
def if_rejection(seen: InterferenceView) -> MeasuredValue:
    """Level of a signal at the intermediate frequency that leaves the audio 30 dB above it."""
    return _level_at(seen, "intermediate_frequency", SUPPRESSED_DB)
