"""What was wrong with a unit in one session, beyond its age."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from backbench.seed_dataset.behaviour import Behaviour
from backbench.seed_dataset.behaviour import behaviours as aged
from backbench.seed_dataset.draws import generator_for
from backbench.seed_dataset.scenario import Review


def _coupling(one: Behaviour) -> Behaviour:
    """A coupling capacitor has lost most of its capacitance."""
    return replace(one, roll_off=replace(one.roll_off, input_hz=14 * one.roll_off.input_hz))


def _hum(one: Behaviour) -> Behaviour:
    """A ground was put back at another place."""
    return replace(one, mains_v=tuple(7 * volts for volts in one.mains_v))


def _idle_current(one: Behaviour) -> Behaviour:
    """The output stage has next to no quiescent current."""
    return replace(one, transfer=replace(one.transfer, crossover=0.08, crossover_width=0.015))


def _treble(one: Behaviour) -> Behaviour:
    """A capacitor of the feedback has the wrong value."""
    return replace(one, roll_off=replace(one.roll_off, high_hz=0.4 * one.roll_off.high_hz))


def _supply(one: Behaviour) -> Behaviour:
    """The reservoir capacitors are tired, and the supply sags."""
    return replace(one, sag_ohm=2.2 * one.sag_ohm)


FAULTS: dict[str, Callable[[Behaviour], Behaviour]] = {
    "coupling": _coupling,
    "hum": _hum,
    "idle-current": _idle_current,
    "treble": _treble,
    "supply": _supply,
}
SCATTER_GAIN, SCATTER_NOISE, SCATTER_BIAS = 0.004, 0.03, 0.03
"""Of a unit that is measured again, relative standard deviations (no source)."""


def behaviours(review: Review) -> tuple[Behaviour, ...]:
    """One for each track of the review, in order: as its age has it, with the session's faults.

    A fault is named alone, or with the output that has it: "hum", "coupling:left".
    """
    made = []
    for (unit, output), one in zip(review.channels, aged(review), strict=True):
        faulty = _with_faults(one, review, output)
        again = generator_for("again", review.key, unit.key, output)
        made.append(_measured_again(faulty, again) if "again" in review.extras else faulty)
    return tuple(made)


def _with_faults(one: Behaviour, review: Review, output: str) -> Behaviour:
    for fault in review.faults:
        name, _, where = fault.partition(":")
        if where in ("", output):
            one = FAULTS[name](one)
    return one


def _measured_again(one: Behaviour, rng: np.random.Generator) -> Behaviour:
    """Contacts, bias and temperature of another day."""
    gain, noise, bias = rng.standard_normal(3)
    transfer = replace(
        one.transfer,
        even=one.transfer.even * float(np.exp(SCATTER_BIAS * bias)),
        crossover=one.transfer.crossover * float(np.exp(SCATTER_BIAS * bias)),
    )
    return replace(
        one,
        gain=one.gain * float(np.exp(SCATTER_GAIN * gain)),
        hiss_v=one.hiss_v * float(np.exp(SCATTER_NOISE * noise)),
        transfer=transfer,
    )
