"""An exponential sine sweep, simulated at twice the file's rate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from backbench.seed_dataset.behaviour import Behaviour
from backbench.seed_dataset.stimulus import Array, Complex, number

LEAD_S, TAIL_S = 0.02, 0.14
RISE_S, FALL_S = 0.01, 0.001
OVERSAMPLING = 2
Number = TypeVar("Number", np.float64, np.complex128)


@dataclass(frozen=True)
class Sweep:
    """A sine from start_hz to stop_hz in sweep_s at level_v rms; silence about it."""

    level_v: float
    start_hz: float = 10.0
    stop_hz: float = 40_000.0
    sweep_s: float = 0.8
    rate_hz: int = 96_000

    @property
    def seconds(self) -> float:
        return LEAD_S + self.sweep_s + TAIL_S

    def toml(self) -> str:
        return (
            f"{{ sweep_hz = [{number(self.start_hz)}, {number(self.stop_hz)}], "
            f"sweep_s = {number(self.sweep_s)}, generator_vrms = {number(self.level_v)} }}"
        )

    def generator(self, clock: float) -> Array:
        return self._recorded(_spectrum(self, clock))

    def outputs(
        self, behaviours: Sequence[Behaviour], driven: Sequence[bool], load_ohm: float,
        clock: float,
    ) -> list[Array]:  # fmt: skip
        played = _spectrum(self, clock)
        silence = np.zeros(round(self.seconds * self.rate_hz))
        return [
            self._recorded(self._through(one, played, load_ohm)) if on else silence
            for one, on in zip(behaviours, driven, strict=True)
        ]

    def played(self, clock: float) -> Array:
        """The EMF at the fast rate, padded with silence to a power of two."""
        fast = OVERSAMPLING * self.rate_hz
        time = np.arange(round(self.sweep_s * fast)) / fast * clock
        growth = np.log(self.stop_hz / self.start_hz) / self.sweep_s
        phase = 2 * np.pi * self.start_hz / growth * np.expm1(growth * time)
        wave = np.sqrt(2.0) * self.level_v * np.sin(phase)
        wave *= _ramp(time / RISE_S) * _ramp((self.sweep_s - time) / FALL_S)
        padded = np.zeros(self._padded())
        start = round(LEAD_S * fast)
        padded[start : start + len(wave)] = wave
        return padded

    def _padded(self) -> int:
        needed = OVERSAMPLING * self.rate_hz * (self.seconds + 0.1)
        return int(2 ** np.ceil(np.log2(needed)))

    def _through(self, behaviour: Behaviour, played: Complex, load_ohm: float) -> Complex:
        step_hz = OVERSAMPLING * self.rate_hz / self._padded()
        frequency = np.arange(len(played), dtype=np.float64) * step_hz
        rail = behaviour.rail_v
        drive = np.fft.irfft(played * behaviour.before(frequency) * behaviour.gain / rail)
        bent = behaviour.transfer.at(1000.0)(drive, behaviour.ceiling(load_ohm))
        frequency = self._kept(frequency)
        emf = self._kept(np.fft.rfft(bent)) * rail
        after = behaviour.roll_off.after(frequency) * behaviour.divided(load_ohm, frequency)
        return np.asarray(emf * after * behaviour.polarity, dtype=np.complex128)

    def _kept(self, spectrum: NDArray[Number]) -> NDArray[Number]:
        """The band below half the converter's rate."""
        return spectrum[: self._padded() // OVERSAMPLING // 2 + 1]

    def _recorded(self, spectrum: Complex) -> Array:
        """What the converter keeps: that band, at its rate."""
        n = self._padded() // OVERSAMPLING
        kept = np.fft.irfft(self._kept(spectrum) / OVERSAMPLING, n)
        return kept[: round(self.seconds * self.rate_hz)]


@lru_cache(maxsize=2)
def _spectrum(sweep: Sweep, clock: float) -> Complex:
    """Of the EMF, at the fast rate; the generator and both outputs begin with it."""
    return np.fft.rfft(sweep.played(clock))


def _ramp(position: Array) -> Array:
    """A raised cosine from 0 at 0 to 1 at 1 and beyond."""
    eased = np.ones_like(position)
    rising = position < 1.0  # a few of them: the cosine of all would take longer than the signal
    eased[rising] = 0.5 - 0.5 * np.cos(np.pi * np.maximum(position[rising], 0.0))
    return eased
