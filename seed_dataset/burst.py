"""Bursts of a sine that an amplifier clips, and what they leave behind."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from backbench.seed_dataset.behaviour import Behaviour
from backbench.seed_dataset.stimulus import Array, length, number
from backbench.seed_dataset.tone import Tone

ON_S, PERIOD_S = 0.02, 0.5
SHIFT = 0.1
"""Of the crest: how far the output lies off after a clipped burst (no source)."""
DISCHARGE_S = 8e-3
"""Time constant of what charged up during it (no source)."""


@dataclass(frozen=True)
class Burst:
    """Bursts of hz at an EMF of level_v rms within them, each from a zero of the sine."""

    hz: float
    level_v: float
    rate_hz: int = 48_000
    seconds: float = 2.0

    def toml(self) -> str:
        return (
            f"{{ burst_hz = {number(self.hz)}, on_ms = {number(1000 * ON_S)}, "
            f"period_ms = {number(1000 * PERIOD_S)}, generator_vrms = {number(self.level_v)} }}"
        )

    @property
    def tone(self) -> Tone:
        """The sine that is switched on and off."""
        return Tone(self.hz, self.level_v, self.rate_hz, self.seconds)

    def generator(self, clock: float) -> Array:
        return self.tone.generator(clock) * (self._since() < ON_S)

    def outputs(
        self, behaviours: Sequence[Behaviour], driven: Sequence[bool], load_ohm: float,
        clock: float,
    ) -> list[Array]:  # fmt: skip
        """The steady sine while a burst is on, then what it has shifted going back."""
        since = self._since()
        left_over = SHIFT * np.exp(-(since - ON_S) / DISCHARGE_S)
        return [
            np.where(since < ON_S, volts, left_over * np.max(np.abs(volts)))
            for volts in self.tone.outputs(behaviours, driven, load_ohm, clock)
        ]

    def _since(self) -> Array:
        """Time since the last burst began, s, for each sample."""
        return np.arange(length(self.rate_hz, self.seconds)) / self.rate_hz % PERIOD_S


def recovery_s(within: float) -> float:
    """Time after a burst until the output is within a share of its crest."""
    return DISCHARGE_S * math.log(SHIFT / within)
