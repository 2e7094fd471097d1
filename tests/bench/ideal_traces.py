"""Two-level traces of 8, 10 and 12 bits, without and with noise: what becomes of each.

Run by hand: python tests/bench/ideal_traces.py [traces]. Prints how many ended in an error of the
program, a warning, a value that is no finite number, and how many intervals and bounds hold.
"""

from __future__ import annotations

import math
import sys
import warnings
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from coverage_waves import held

from backbench.metrics.declaration import MeasuredValue
from backbench.metrics.measurement import measure
from squares import ideal_trace, trace_material


def made(
    rng: np.random.Generator, bits: int, noise: float
) -> tuple[np.ndarray, np.ndarray, float, dict[str, float]]:
    """Instants, volts, frequency and true values of a trace whose edges take no time."""
    hz = 10 ** rng.uniform(2, 5)
    points, periods = int(rng.integers(100, 6000)), rng.uniform(2.3, 6.0)
    swing = 10 ** rng.uniform(-2, 2)
    filled = rng.uniform(0.2, 0.98)
    time, volts = ideal_trace(
        hz, points=points, periods=periods, swing=swing, bits=bits, filled=filled,
        noise=noise * swing, phase=rng.uniform(0.05, 0.45), seed=int(rng.integers(1 << 30)),
        uneven=rng.random() < 0.3,
    )  # fmt: skip
    truth = {"rise_time": 0.0, "fall_time": 0.0, "overshoot": 0.0, "undershoot": 0.0,
             "preshoot": 0.0, "tilt": 0.0, "state_high": swing, "state_low": -swing}  # fmt: skip
    return time, volts, hz, truth


def outcome(
    time: np.ndarray, volts: np.ndarray, hz: float, truth: dict[str, float]
) -> Iterator[str]:
    """What became of every figure of a trace."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            result = measure(trace_material(time, volts, hz))[0]
    except Exception as error:  # any at all is what is looked for
        yield f"crash: {type(error).__name__}: {error}"
        return
    for finding in result:
        figure, name = finding.figure, finding.metric.name
        if figure is None:
            yield f"{name}: {finding.status}: {(finding.reason or '')[:40]}"
        elif not all(map(math.isfinite, (figure.value, figure.uncertainty))):
            yield f"no finite number: {name}"
        else:
            yield f"{name}: {_held(figure, truth.get(name))}"


def _held(figure: MeasuredValue, truth: float | None) -> str:
    kind = "bound" if figure.bound else "figure"
    if truth is None:
        return kind
    return f"{kind} {'holds' if held(figure, truth) else 'FAILS'}"


if __name__ == "__main__":
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    for noisy in (False, True):
        rng = np.random.default_rng(7)
        counts: Counter[str] = Counter()
        for n in range(number):
            noise = 10 ** rng.uniform(-4, -1.3) if noisy else 0.0
            counts.update(outcome(*made(rng, (8, 10, 12)[n % 3], noise)))
        print(f"{'noisy' if noisy else 'ideal'}: {number} traces")
        for name, count in sorted(counts.items()):
            print(f"  {count:6d} {name}")
