"""Nothing played, the input terminated."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from backbench.seed_dataset.behaviour import Behaviour
from backbench.seed_dataset.stimulus import Array, length


@dataclass(frozen=True)
class Idle:
    """Silence; what remains is the unit's own noise."""

    terminated: str = "input shorted"
    rate_hz: int = 48_000
    seconds: float = 1.0

    def toml(self) -> str:
        return f'{{ idle = "{self.terminated}" }}'

    def generator(self, clock: float) -> Array:
        return np.zeros(length(self.rate_hz, self.seconds))

    def outputs(
        self, behaviours: Sequence[Behaviour], driven: Sequence[bool], load_ohm: float,
        clock: float,
    ) -> list[Array]:  # fmt: skip
        return [self.generator(clock) for _ in behaviours]
