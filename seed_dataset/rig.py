"""What a unit that isn't an amplifier does on the bench, as a session records it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from backbench.bench_day.planned_capture import PlannedStep
from backbench.documents.stimuli import Stimulus
from backbench.seed_dataset.converter import BITS
from backbench.seed_dataset.tuner import Columns
from backbench.signal.track import Array

BOTH = ("left", "right")


@dataclass(frozen=True, eq=False)
class Played:
    """One capture: the stimulus as the manifest states it, and volts of each output, (n, outputs).

    generator: its EMF, where a track records it. bits: that the recorder resolves.
    """

    stimulus: Stimulus
    volts: Array
    rate_hz: int
    outputs: tuple[str, ...] = BOTH
    generator: Array | None = None
    bits: int = BITS


@dataclass(frozen=True)
class Figure:
    """A figure that a measurement of the session should find. at: other columns of the reading;
    detail: a part of its details; within: what the simulation itself leaves open, in its unit."""

    metric: str
    output: str
    value: float
    at: dict[str, float] = field(default_factory=dict)
    detail: str = ""
    within: float = 0.0


class Rig(Protocol):
    """A unit of known faults. rate_hz, gain_db, loads_ohm: what its plan is made for."""

    @property
    def rate_hz(self) -> int: ...

    @property
    def gain_db(self) -> float | None: ...

    @property
    def loads_ohm(self) -> tuple[float, ...]: ...

    def record(self, step: PlannedStep, rng: np.random.Generator) -> Played | None:
        """A planned capture; None where the session leaves it out."""

    def tables(self) -> dict[str, Columns]:
        """Tables of the session, by kind."""

    def figures(self) -> list[Figure]:
        """What a measurement should find."""


def seed_of(rng: np.random.Generator) -> int:
    """A seed of another generator."""
    return int(rng.integers(2**31))
