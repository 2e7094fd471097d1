"""The kinds of unit beside amplifiers, and what a unit of each does in a review."""

from __future__ import annotations

from collections.abc import Callable

from backbench.seed_dataset.machine_rig import tape_deck, turntable
from backbench.seed_dataset.norms import WEAR
from backbench.seed_dataset.rig import Rig
from backbench.seed_dataset.scenario import Review, Unit
from backbench.seed_dataset.source_rig import player, tuner
from backbench.seed_dataset.stage_rig import equaliser, headphone_amplifier, phono_stage

RIGS: dict[str, Callable[[Unit, float], Rig]] = {
    "turntable": turntable,
    "tape deck": tape_deck,
    "tuner": tuner,
    "disc player": player,
    "converter": player,
    "phono stage": phono_stage,
    "headphone amplifier": headphone_amplifier,
    "equaliser": equaliser,
}


def rig_of(review: Review) -> Rig | None:
    """What the review's unit does; None for amplifiers and preamplifiers.

    A receiver that was reviewed through its tuner does what a tuner does.
    """
    unit = review.units[0]
    kind = "tuner" if review.is_as_tuner else unit.kind
    if kind not in RIGS:
        return None
    return RIGS[kind](unit, (review.date.year - unit.made) * WEAR[review.state])
