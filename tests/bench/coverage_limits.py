"""How often a told interval holds the truth: power and input at a distortion limit, onset.

Run as `python tests/bench/coverage_limits.py [amplifiers]`. Every amplifier is drawn at random
(knee from soft to hard, rail above or below the rating, asymmetry, curvature of second and third
order, crossover, sag, noise of the distortion) and measured at the plan's powers. The truth is the
last upward crossing, by bisection on the drive of the same transfer. Printed for each limit: how
many were given, the share within two standard uncertainties, the median half interval in
percent, the root mean square of error over uncertainty, and bounds on the wrong side; and the same
with the steps that the plan then asks for.
"""

from __future__ import annotations

import math
import sys
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from backbench.bench_day.amplifier_steps import SHARES
from backbench.bench_day.narrowing_steps import NARROW, powers_inside
from backbench.metrics.limit_brackets import limit_brackets
from backbench.metrics.power_limit import LIMITS_PERCENT
from backbench.metrics.session import Derived, Reading, Session
from bench_readings import derived, reading

RNG = np.random.default_rng(5)
ANGLE = 2 * np.pi * np.arange(512) / 512
RATED_W, LOAD_OHM = 20.0, 8.0
GRID = 300

Amplifier = Callable[[float], tuple[float, float]]
"""Power in W and distortion in percent for a drive re that of the rated power."""


def drawn() -> Amplifier:
    knee, rail = 10 ** RNG.uniform(0.4, 2.5), RNG.uniform(0.75, 1.35)
    one_sided = 1 + RNG.integers(2) * RNG.uniform(0, 0.3)
    second = RNG.integers(2) * 10 ** RNG.uniform(-5, -1.5)
    third = RNG.integers(-1, 2) * 10 ** RNG.uniform(-5, -1.7)
    crossover = (RNG.uniform() < 1 / 3) * 10 ** RNG.uniform(-4, -1.5)
    sag = RNG.integers(2) * RNG.uniform(0, 0.15)

    def amplifier(drive: float) -> tuple[float, float]:
        x = drive * np.cos(ANGLE)
        if crossover:
            x = x - crossover * np.tanh(x / (0.7 * crossover))
        x = x + second * x**2 + third * x**3
        limit = np.where(x > 0, one_sided, 1.0) * rail / (1 + sag * drive**2)
        u = np.abs(x) / limit
        low, high = np.minimum(u, 1), np.maximum(u, 1)
        shaped = np.where(u < 1, low / (1 + low**knee) ** (1 / knee),
                          (1 + high**-knee) ** (-1 / knee))  # fmt: skip
        lines = np.abs(np.fft.rfft(np.sign(x) * shaped * limit)) * 2 / len(ANGLE)
        harmonics = math.sqrt(float(np.sum(lines[2:21] ** 2)))
        return RATED_W * float(lines[1] ** 2), 100 * max(harmonics / float(lines[1]), 1e-7)

    return amplifier


def last_crossing(amplifier: Amplifier, limit: float, drives: list[float]) -> float | None:
    """The drive of the last upward crossing within those measured."""
    grid = np.linspace(drives[0], drives[-1], GRID)
    over = np.array([amplifier(drive)[1] >= limit for drive in grid])
    rises = np.flatnonzero(~over[:-1] & over[1:])
    if not len(rises):
        return None
    low, high = grid[rises[-1]], grid[rises[-1] + 1]
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (low, middle) if amplifier(middle)[1] >= limit else (middle, high)
    return float((low + high) / 2)


def measured(amplifier: Amplifier, drives: list[float]) -> list[Reading]:
    noise = 10 ** RNG.uniform(-4, -1.7)
    made = []
    for drive in drives:
        power, percent = amplifier(drive)
        volts = math.sqrt(power * LOAD_OHM)
        same = {"power_w": power, "generator_vrms": drive, "analysis_key": f"{drive}"}
        seen = percent * (1 + noise * RNG.normal())
        made += [
            reading("output_power", power, 1e-6, 1e-6, **same),
            reading("level", volts, 1e-6, 1e-6, **same),
            reading("gain", 20 * math.log10(volts / drive), 0.0, 0.0, **same),
            reading("thd_wide", seen, noise, noise, **same),
        ]
    return made


def narrowing_drives(readings: list[Reading]) -> list[float]:
    """The drives of the steps that a plan asks for once these were measured."""
    drives = []
    for bracket in limit_brackets(Session(readings)):
        if bracket.high_w / bracket.low_w - 1 > NARROW:
            powers = powers_inside(bracket.low_w, bracket.high_w)
            drives += [bracket.generator_v(power) or 0.0 for power in powers]
    return drives


class Tally:
    """Scores (error over uncertainty, relative half interval) and bounds by metric and limit."""

    def __init__(self) -> None:
        self.scores: dict[tuple[str, float], list[tuple[float, float]]] = defaultdict(list)
        self.wrong: dict[tuple[str, float], list[bool]] = defaultdict(list)

    def add(
        self,
        amplifier: Amplifier,
        drives: list[float],
        readings: list[Reading],
        truths: dict[float, float | None],
    ) -> None:
        for metric in ("power_at_limit", "input_at_limit"):
            for result in derived(metric, readings):
                if not isinstance(result, Derived):
                    continue
                figure = result.figure
                limit = figure.limit_percent or 0.0
                drive = truths[limit]
                if figure.bound:
                    most = max(amplifier(d)[1] for d in np.linspace(drives[-2], drives[-1], 30))
                    missed = drive is not None and most >= limit
                    truth = _truth(metric, amplifier, drive) if drive is not None else math.inf
                    self.wrong[metric, limit].append(missed and truth < figure.value * (1 - 1e-9))
                elif drive is not None:
                    truth = _truth(metric, amplifier, drive)
                    self.scores[metric, limit].append(
                        ((figure.value - truth) / figure.uncertainty,
                         2 * figure.uncertainty / figure.value)
                    )  # fmt: skip


def tallies(number: int) -> tuple[Tally, Tally]:
    """Of the plan's own steps, and with those that narrow the limits."""
    planned, narrowed = Tally(), Tally()
    drives = [math.sqrt(share) for share in SHARES]
    for _ in range(number):
        amplifier = drawn()
        readings = measured(amplifier, drives)
        truths = {limit: last_crossing(amplifier, limit, drives) for limit in LIMITS_PERCENT}
        planned.add(amplifier, drives, readings, truths)
        more = measured(amplifier, narrowing_drives(readings))
        narrowed.add(amplifier, drives, [*readings, *more], truths)
    return planned, narrowed


def main(number: int) -> None:
    for title, tally in zip(("As planned", "Narrowed"), tallies(number), strict=True):
        print(title)
        _print(tally)


def _print(tally: Tally) -> None:
    scores, wrong = tally.scores, tally.wrong
    for (metric, limit), pairs in sorted(scores.items()):
        score, half = np.array(pairs).T
        print(f"{metric:16} {limit:4g} %: {len(score):4d} given, within "
              f"{100 * np.mean(np.abs(score) <= 2):5.1f} %, half interval "
              f"{100 * np.median(half):4.1f} %, rms {math.sqrt(np.mean(score**2)):.2f}, worst "
              f"{np.abs(score).max():.1f}; {sum(wrong[metric, limit])} of "
              f"{len(wrong[metric, limit])} bounds wrong")  # fmt: skip


def _truth(metric: str, amplifier: Amplifier, drive: float) -> float:
    return amplifier(drive)[0] if metric == "power_at_limit" else drive


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
