"""What every stimulus of the scenario can do, and the periodic ones in common."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from backbench.seed_dataset.behaviour import Behaviour
from backbench.seed_dataset.chain import steady, unfolded
from backbench.seed_dataset.crosstalk import leaked

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
CONVERTER_BAND = 0.455  # of the sample rate: where the converter's filter ends


class Stimulus(Protocol):
    """Something that a generator plays, with the record that it is taken on."""

    @property
    def rate_hz(self) -> int: ...

    @property
    def seconds(self) -> float: ...

    def toml(self) -> str:
        """The stimulus as an inline table of the manifest."""

    def generator(self, clock: float) -> Array:
        """The generator's EMF in volts, shape (n,). clock: its time base, 1 + error."""

    def outputs(
        self, behaviours: Sequence[Behaviour], driven: Sequence[bool], load_ohm: float,
        clock: float,
    ) -> list[Array]:  # fmt: skip
        """Terminal voltages without noise, one of shape (n,) for each behaviour."""


def length(rate_hz: int, seconds: float) -> int:
    """Samples of a record."""
    return round(rate_hz * seconds)


class Periodic:
    """A periodic stimulus in its steady state. A kind supplies rate, length and spectrum."""

    rate_hz: int
    seconds: float

    def spectrum(self) -> tuple[Complex, float, float]:
        """Amplitudes of the generator's EMF in V peak, base frequency and the frequency that
        decides the frequency-dependent curvature, in Hz."""
        raise NotImplementedError

    def generator(self, clock: float) -> Array:
        amplitudes, base, _ = self.spectrum()
        return self._unfold(amplitudes, base * clock)

    def outputs(
        self, behaviours: Sequence[Behaviour], driven: Sequence[bool], load_ohm: float,
        clock: float,
    ) -> list[Array]:  # fmt: skip
        played, base, about = self.spectrum()
        silent = np.zeros_like(played)
        alone = [
            steady(behaviour, played, base, about, load_ohm) if on else silent
            for behaviour, on in zip(behaviours, driven, strict=True)
        ]
        mixed = list(alone)
        if len(alone) == 2:
            for own, other in ((0, 1), (1, 0)):
                part = behaviours[own].crosstalk
                mixed[own] = alone[own] + leaked(alone[other], base, part)
        return [self._unfold(one, base * clock) for one in mixed]

    def _unfold(self, amplitudes: Complex, base_hz: float) -> Array:
        top = CONVERTER_BAND * self.rate_hz
        n = length(self.rate_hz, self.seconds)
        return unfolded(amplitudes, base_hz, n, self.rate_hz, top)


def number(value: float) -> str:
    """A number as a person writes it in TOML: 1000, 0.42."""
    return f"{value:.10g}"
