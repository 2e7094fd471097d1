"""What a tape or disc machine of known faults gives, in volts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from backbench.signal.track import Array

CAPSTAN_HZ, TURN_HZ = 7.3, 5 / 9


@dataclass(frozen=True)
class Machine:
    """speed_percent: mean error. wow_percent: peak, once a turn of a disc. flutter_percent: peak,
    of the capstan. noise_v: rms of white noise up to half the rate."""

    rate_hz: float = 48_000.0
    speed_percent: float = 0.4
    wow_percent: float = 0.12
    flutter_percent: float = 0.06
    noise_v: float = 1e-4
    seed: int = 1

    def times(self, seconds: float) -> Array:
        return np.arange(int(seconds * self.rate_hz)) / self.rate_hz

    def place(self, seconds: float) -> Array:
        """Place on the medium by time, s at the right speed, in closed form."""
        t = self.times(seconds)
        turn, capstan = 2 * np.pi * TURN_HZ, 2 * np.pi * CAPSTAN_HZ
        wow = self.wow_percent / 100 / turn * np.sin(turn * t)
        flutter = self.flutter_percent / 100 / capstan * np.sin(capstan * t)
        return np.asarray((1 + self.speed_percent / 100) * t + wow + flutter)

    def noise(self, seconds: float, channel: int = 0) -> Array:
        rng = np.random.default_rng(100 * self.seed + channel)
        return rng.normal(0.0, self.noise_v, int(seconds * self.rate_hz))

    def tone(
        self, hz: float, seconds: float, rms: float = 1.0, channel: int = 0,
        *, third_percent: float = 0.0, late_s: float = 0.0,
    ) -> Array:  # fmt: skip
        """A recorded tone with a third harmonic; late_s: by which this channel comes later."""
        phase = 2 * np.pi * hz * (self.place(seconds) - late_s)
        wave = np.sin(phase) + third_percent / 100 * np.sin(3 * phase + 0.7)
        return np.asarray(np.sqrt(2) * rms * wave + self.noise(seconds, channel))

    def sweep(self, low_hz: float, high_hz: float, seconds: float, gain: object = None) -> Array:
        """A recorded exponential sweep of 1 V rms; gain: amplitude factor by frequency."""
        place = np.clip(self.place(seconds) - 0.3, 0.0, seconds - 0.8)
        growth = np.log(high_hz / low_hz) / (seconds - 0.8)
        phase = 2 * np.pi * low_hz / growth * np.expm1(growth * place)
        sounding = (place > 0) & (place < seconds - 0.8)
        hz = low_hz * np.exp(growth * place)
        factor = gain(hz) if callable(gain) else 1.0
        wave = np.sqrt(2) * factor * np.sin(phase) * sounding
        return np.asarray(wave + self.noise(seconds))
