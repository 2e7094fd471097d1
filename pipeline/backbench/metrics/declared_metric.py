"""A metric as whoever compares and shows it knows it: nothing of what measures it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from backbench.metrics.traits import PLAIN, Traits

Better = Literal["lower", "higher", "nearer zero", "neither"]

NO_FAMILY = "Other metrics"


@dataclass(frozen=True, kw_only=True)
class Declared:
    """What is declared of a metric.

    version: raised whenever the same bytes may give another value. stimuli: kinds of capture that
    it is measured from; none where it is worked out across captures. family: the FAMILY of the
    module that declares it.
    """

    name: str
    title: str
    unit: str
    better: Better
    version: int
    stimuli: tuple[str, ...]
    traits: Traits = PLAIN
    family: str = NO_FAMILY

    @property
    def usual_stimulus(self) -> str:
        """The kind of capture that it is usually taken from."""
        first = self.stimuli[0] if self.stimuli and "tone" not in self.stimuli else "tone"
        return self.traits.usual_stimulus or first
