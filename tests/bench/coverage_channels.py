"""How often the told response difference between two outputs of one record holds the truth.

Run as `python tests/bench/coverage_channels.py [draws]`. Every draw is a new record of one sweep
through two outputs with fresh noise and hum, on one bench with its loop-back, through the same
functions as a review. Printed for each pair of outputs: readings within two standard uncertainties,
bounds that lie above the truth, and the middle figures of what is told, in dB.
"""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.signal import bilinear, butter, lfilter

sys.path.insert(0, str(Path(__file__).parents[1]))

from backbench.metrics.declaration import MeasuredValue
from backbench.metrics.measurement import measure
from backbench.metrics.session import CurveReading
from backbench.signal.track import Array
from bench_readings import one, reading
from swept import capture_data, played

RNG = np.random.default_rng(13)
RATE = 48_000.0
SENT = played(seconds=1.5, tail_s=0.5)
TIME = np.arange(len(SENT.volts)) / RATE
BELOW = ("response_unsure_from_below", "response_unsure_from_below_loop_back")
SIDES = {1: "left", 2: "right"}


class Output(NamedTuple):
    """A band-pass of first order; with a second corner, and a filter of fourth order, below."""

    low_hz: float
    high_hz: float
    second_hz: float = 0.0
    steep_hz: float = 0.0

    @property
    def sections(self) -> list[tuple[Array, Array]]:
        lows = [hz for hz in (self.low_hz, self.second_hz) if hz > 0]
        high = 2 * math.pi * self.high_hz
        falls = [bilinear([1, 0], [1, 2 * math.pi * hz], RATE) for hz in lows]
        if self.steep_hz > 0:
            falls += [
                (s[:3], s[3:]) for s in butter(4, self.steep_hz, "high", fs=RATE, output="sos")
            ]
        return [*falls, bilinear([high], [1, high], RATE)]

    def heard(self, volts: Array) -> Array:
        for above, below in self.sections:
            volts = lfilter(above, below, volts)
        return volts

    def db(self, hz: Array) -> Array:
        z = np.exp(2j * np.pi * hz / RATE)
        parts = [np.polyval(a, z) / np.polyval(b, z) for a, b in self.sections]
        return 20 * np.log10(np.abs(np.prod(parts, axis=0)))


PAIRS = {
    "alike": (Output(8, 20e3), Output(8, 20e3)),
    "lows 8 and 8.4 Hz": (Output(8, 20e3), Output(8.4, 20e3)),
    "lows 8 and 12 Hz": (Output(8, 20e3), Output(12, 20e3)),
    "lows 2 and 30 Hz": (Output(2, 20e3), Output(30, 20e3)),
    "second corner 4 and 6 Hz": (Output(8, 20e3, 4), Output(8, 20e3, 6)),
    "fourth order, alike": (Output(2, 20e3, 0, 7), Output(2, 20e3, 0, 7)),
    "fourth order, 9 and 9.5 Hz": (Output(2, 20e3, 0, 9), Output(2, 20e3, 0, 9.5)),
    "fourth order and none": (Output(8, 20e3), Output(2, 20e3, 0, 9)),
    "highs 20 and 18 kHz": (Output(8, 20e3), Output(8, 18e3)),
}
BESIDES = {
    "noise 1 mV": (1e-3, 0.0), "noise 0.1 mV": (1e-4, 0.0), "noise 10 uV": (1e-5, 0.0),
    "noise 0.3 mV, hum 3 mV": (3e-4, 3e-3),
}  # fmt: skip


BENCH = Output(6, 40e3)


def truth(left: Output, right: Output) -> float:
    """Greatest distance from 20 Hz to 20 kHz of both re 1 kHz, dB."""
    hz = np.concatenate([[1000.0], np.geomspace(20, 20_000, 20_001)])
    apart = left.db(hz) - right.db(hz)
    return float(np.abs(apart[1:] - apart[0]).max())


def told(waves: list[Array], bench: Array) -> MeasuredValue:
    looped = capture_data(SENT, bench, bench)
    _, traces = measure(replace(capture_data(SENT, *waves), bench=looped))
    found = {(t.name, t.track): t.data for t in traces}
    curves = [
        CurveReading(
            "response", reading("gain", 0.0, output=side, stimulus="sweep"),
            found["response", track],
            {name: found[name, track] for name in BELOW if (name, track) in found},
        )
        for track, side in SIDES.items()
    ]  # fmt: skip
    return one("response_difference", [c.like for c in curves], curves=curves).figure


def beside(noise_v: float, hum_v: float) -> Array:
    hum = hum_v * np.sin(2 * np.pi * (50 * TIME + RNG.random()))
    return noise_v * RNG.normal(size=len(TIME)) + hum


def main() -> None:
    draws = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    for what, disturbed in BESIDES.items():
        for name, pair in PAIRS.items():
            clean, true = [BENCH.heard(output.heard(SENT.volts)) for output in pair], truth(*pair)
            bench = BENCH.heard(SENT.volts)
            figures = [
                told([wave + beside(*disturbed) for wave in clean], bench + beside(1e-5, 0))
                for _ in range(draws)
            ]
            print(f"  {what:24s}{name:28s}true {true:.4f}  {_held(figures, true)}", flush=True)


def _held(figures: list[MeasuredValue], true: float) -> str:
    read = [f for f in figures if f.bound is None]
    bounds = [f for f in figures if f.bound is not None]
    within = sum(abs(f.value - true) <= 2 * f.uncertainty for f in read)
    above = sum(f.value >= true for f in bounds)
    u = np.median([f.uncertainty for f in figures])
    middle = np.median([f.value for f in figures])
    return (
        f"within {within} of {len(read)}, bounds right {above} of {len(bounds)}, "
        f"middle {middle:.4f}, u {u:.4f}"
    )


if __name__ == "__main__":
    main()
